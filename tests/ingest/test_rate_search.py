"""A new board sends at a rate that nobody has told: it is found, nothing is lost, and the words say what was done."""

import contextlib
import os
import random
from collections.abc import Iterator
from itertools import count
from typing import Any
from unittest.mock import Mock

import pytest

from dashboard.cli import main
from dashboard.command_line import exits
from dashboard.command_line.terminal import Terminal
from dashboard.parts.console_card import state
from ingest.capture.captures import Captures
from ingest.capture.first_bytes import USUAL_BAUDS, FirstBytes
from ingest.capture.rate_search import LEAST_S, RateSearch
from ingest.capture.recording import Recording
from ingest.capture.sidecar import parse_sidecar, read_sidecar
from ingest.capture.sources import Gone, SerialSource
from ingest.study.capture_counts import About
from ingest.study.store import import_log, open_study
from ingest.wire.framing import Framer
from tests.ingest.test_capture import console, run
from tests.ingest.uart import heard
from tests.needs import need
from tests.waiting import until

NOISE = random.Random(1).randbytes(2_000) + b"\0"


def test_the_line_of_the_tests_is_a_uart():
    """By hand from the frame 0 10101010 1 of `U`, each half bit looked at; a clock 2 % off does no harm (WIRING.md)."""
    assert heard(b"U", 1, 2) == b"\x66\xe6"
    assert heard(b"\xff", 9_600, 115_200) == b"\0", "a start bit of 104 us is a break for who expects 8.7 us"
    for rate in (112_900, 115_200, 117_500):
        assert heard(NOISE, 115_200, rate) == NOISE
    assert heard(NOISE, 115_200, 104_000) != NOISE


# --- the search by itself: no port, no clock --------------------------------------------------------------------------


def first(chunk: bytes) -> FirstBytes:
    """What was heard at one rate."""
    found = FirstBytes()
    found.take(chunk, Framer().feed(chunk))
    return found


def moved(search: RateSearch, chunk: bytes, now: float, quiet: bool = True) -> int | None:
    """Lets the search judge, and does what it asks for."""
    baud = search.judge(first(chunk), now, quiet)
    if baud is not None:
        search.listens(baud, now)
    return baud


def test_every_usual_rate_is_tried_once_a_round_and_all_of_them_again():
    search, now = RateSearch(115_200), count(LEAST_S, LEAST_S)
    tried = [moved(search, NOISE, next(now)) for _ in range(2 * len(USUAL_BAUDS))]
    assert sorted(tried[:8]) == list(USUAL_BAUDS) and tried[7] == 115_200
    assert tried[8:] == tried[:8]
    assert len(search.said) == 8, "the second round is not told again"
    assert "460,800" in search.said[-1] and "clock" in search.said[-1]


@pytest.mark.parametrize(
    ("what", "chunk", "now", "quiet"),
    [
        ("nothing has come", b"", 99.0, True),
        ("too little has come", b"\x07\x08", 99.0, True),
        ("text", b"speed=3 lives=2\r\n" * 40, 99.0, True),
        ("it has hardly listened", NOISE, LEAST_S / 2, True),
        ("a packet may be half here", NOISE[:400], 99.0, False),
    ],
)
def test_what_is_no_wrong_rate_changes_nothing(what, chunk, now, quiet):
    search = RateSearch(115_200)
    assert moved(search, chunk, now, quiet) is None, what
    assert not search.said and not search.done


def test_a_line_that_is_never_quiet_is_judged_too():
    assert moved(RateSearch(115_200), NOISE, 99.0, quiet=False) is not None


def test_once_a_packet_came_nothing_moves_it():
    search = RateSearch(115_200)
    assert moved(search, console().power_up(), 1.0) is None
    assert search.done and not search.said, "the first rate was right: there is nothing to tell"
    assert moved(search, NOISE, 99.0) is None


def test_a_rate_that_the_port_refuses_is_left_out():
    search = RateSearch(115_200)
    refused = search.judge(first(NOISE), 9.0, True)
    search.refused(refused)
    assert search.baud == 115_200
    tried = [moved(search, NOISE, 9.0 * n) for n in range(2, 9)]
    assert refused not in tried and len(set(tried)) == 7
    for baud in set(tried) - {search.baud}:
        search.refused(baud)
    assert moved(search, NOISE, 999.0) is None, "there is no other left"


# --- with pyserial's port replaced by a line --------------------------------------------------------------------------


class Line:
    """A console that plays at `sent_at` baud and is reset after each run; stands in for pyserial's class.

    What it sends arrives burst by burst, between two reads that find nothing, at the rate that the port is set to then.
    """

    sent_at = 38_400
    refuses: tuple[int, ...] = ()
    handed: list[bytes]
    set_to: list[int]

    def __init__(self, name: str, baudrate: int, **_: Any):
        self._baudrate, self._pending, self._quiet = baudrate, b"", True
        self.bursts = self.play()

    def play(self) -> Iterator[bytes]:
        for nonce in count(1):
            encoder = console(nonce)
            yield encoder.power_up()
            yield from (packet + b"\0" for packet in run(encoder, 10).split(b"\0") if packet)

    @property
    def baudrate(self) -> int:
        return self._baudrate

    @baudrate.setter
    def baudrate(self, baud: int) -> None:
        if baud in self.refuses:
            raise ValueError("Invalid baud rate")
        self.set_to.append(baud)
        self._baudrate = baud

    @property
    def in_waiting(self) -> int:
        self._quiet = not self._quiet
        if not self._quiet:
            self._pending += heard(next(self.bursts), self.sent_at, self._baudrate)
        return len(self._pending)

    def read(self, size: int) -> bytes:
        chunk, self._pending = self._pending[:size], self._pending[size:]
        self.handed.append(chunk)
        return chunk

    def close(self) -> None:
        pass


@pytest.fixture
def line(monkeypatch):
    """The class of ports that `serial.Serial` is now; rates change as soon as they are judged."""

    class OfThisTest(Line):
        handed: list[bytes] = []  # noqa: RUF012
        set_to: list[int] = []  # noqa: RUF012

    monkeypatch.setattr("serial.Serial", OfThisTest)
    monkeypatch.setattr("serial.tools.list_ports.comports", list)
    monkeypatch.setattr("ingest.capture.rate_search.LEAST_S", 0.0)
    return OfThisTest


@pytest.mark.parametrize("baud", [9_600, 38_400, 921_600])
def test_the_rate_is_found_and_nothing_heard_is_lost_or_called_damage(tmp_path, line, baud):
    line.sent_at = baud
    captures = Captures(tmp_path)
    captures.start("COM3")
    until(lambda: captures.status("COM3").counts.runs >= 3)
    assert captures.stop("COM3")
    status = captures.status("COM3")
    assert status.baud == baud == line.set_to[-1]
    assert (status.counts.rejected, status.counts.missing_packets) == (0, 0)
    assert status.search[-1].startswith(f"Good packets at {baud:,} baud") and f"--baud {baud}" in status.search[-1]
    log = status.path.read_bytes()
    assert log == b"".join(line.handed), "every byte is there, as it was heard"
    sidecar = read_sidecar(status.path)
    assert sidecar.baud == baud and sidecar.tried[0] == 115_200 and baud not in sidecar.tried
    assert 0 < sidecar.noise_bytes < len(log)
    with open_study(tmp_path / "study.duckdb") as study:
        taken = import_log(study, status.path)
        assert (taken.rejected_packets, taken.missing_packets, taken.damaged_runs) == (0, 0, 0)
        assert taken.runs == status.counts.runs
        (notice,) = (one for one in taken.notices if one.about == About.RATE)
        assert notice.harmless and f"{sidecar.noise_bytes:,}" in notice.what
        with study.connection.cursor() as cursor:
            # What came of a power-up whose dictionary had been noise is told as such.
            damage = cursor.execute("SELECT reason, byte_offset FROM damage").fetchall()
            assert all(reason == "unread" and at >= sidecar.noise_bytes for reason, at in damage)
            ((first_byte,),) = cursor.execute("SELECT min(start_byte) FROM all_runs").fetchall()
    assert first_byte > sidecar.noise_bytes, "places are those in the file"


def test_without_its_sidecar_the_log_still_reads_and_the_noise_is_damage(tmp_path, line):
    captures = Captures(tmp_path)
    captures.start("COM3")
    until(lambda: captures.status("COM3").counts.runs >= 2)
    captures.stop_all()
    status = captures.status("COM3")
    alone = tmp_path / "alone.playlog"
    alone.write_bytes(status.path.read_bytes())
    with open_study(tmp_path / "study.duckdb") as study:
        taken = import_log(study, alone)
    assert taken.rejected_packets > 0 and taken.damaged_runs == 0 and taken.runs == status.counts.runs


def test_a_rate_that_somebody_named_is_kept(tmp_path, line):
    captures = Captures(tmp_path)
    captures.start("COM3", 115_200)
    until(lambda: captures.status("COM3").notices)
    captures.stop_all()
    status = captures.status("COM3")
    assert line.set_to == [] and status.baud == 115_200 and status.search == ()
    assert "--baud" in status.notices[0].remedy


def test_rates_that_the_port_refuses_are_passed_over(tmp_path, line):
    line.refuses = (57_600, 9_600)
    captures = Captures(tmp_path)
    captures.start("COM3")
    until(lambda: captures.status("COM3").counts.runs)
    captures.stop_all()
    assert captures.status("COM3").baud == 38_400
    assert set(line.set_to) == {115_200, 38_400}, "the one before is set again"


def test_a_port_that_goes_away_while_its_rate_is_changed_is_gone(line):
    source = SerialSource("COM3")
    source.open()
    line.refuses = USUAL_BAUDS
    with pytest.raises(Gone):
        source.set_baud(9_600)


def test_the_terminal_and_the_page_say_what_is_done(tmp_path, line, monkeypatch):
    lines: list[str] = []

    def say(_: Terminal, text: str) -> None:
        lines.append(text)
        if "Good packets" in text:
            raise KeyboardInterrupt  # Ctrl+C

    monkeypatch.setattr(Terminal, "say", say)
    assert main(["record", "COM3", "--into", str(tmp_path)]) == exits.OK
    said = [one for one in lines if one.startswith("COM3: ")]
    assert said[0] == "COM3: What comes at 115,200 baud is no packet; trying 57,600."
    assert said[-1].startswith("COM3: Good packets at 38,400 baud") and said[-1].endswith("(--baud 38400).")
    assert len(said) == len(set(said))
    assert not any("Most likely" in one or "not one byte" in one for one in said), "one voice at a time"
    captures = Captures(tmp_path / "page")
    captures.start("COM3")
    until(lambda: captures.status("COM3").counts.runs)
    captures.stop_all()
    assert "Good packets at 38,400 baud" in str(state(captures.status("COM3"), None))


# --- ports without a line ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "description", "has"),
    [
        ("/dev/ttyUSB0", "FT232R USB UART", True),
        ("COM5", "USB-SERIAL CH340 (COM5)", True),
        ("/dev/ttyS0", "n/a", True),
        ("/dev/cu.usbserial-1420", "CP2102 USB to UART Bridge Controller", True),
        ("/dev/ttyACM0", "Lantern - Board CDC", False),
        ("/dev/cu.usbmodem14201", "Lantern", False),
        ("COM5", "USB Serial Device (COM5)", False),
        ("/dev/ttyACM0", "Debugprobe on Lantern (CMSIS-DAP)", True),
        ("/dev/ttyACM0", "STM32 STLink", True),
        ("/dev/pts/3", None, False),
    ],
)
def test_rates_are_tried_where_a_line_is_behind_the_port(monkeypatch, name, description, has):
    found = [] if description is None else [Mock(device=name, description=description, product=None)]
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: found)
    assert SerialSource(name).has_baud == has


@pytest.fixture
def terminal(tmp_path):
    """A pseudo-terminal: the console's end, its own name, and another name that does not say what it is."""
    need(hasattr(os, "openpty"), "this system has no pseudo-terminals")
    import tty

    master, slave = os.openpty()
    tty.setraw(slave)
    name = os.ttyname(slave)
    os.close(slave)
    port = tmp_path / "port"
    port.symlink_to(name)
    yield master, name, str(port)
    with contextlib.suppress(OSError):
        os.close(master)


def _listened_at(end: int) -> int:
    """The rate that the other end of a pseudo-terminal is set to; both ends are one device to the system."""
    import termios

    speed = termios.tcgetattr(end)[4]
    return next(baud for baud in USUAL_BAUDS if getattr(termios, f"B{baud}", None) == speed)


def test_the_real_port_is_set_while_it_is_open(tmp_path, terminal):
    """pyserial itself on a pseudo-terminal, at the pace of a real search; the console sends at the second rate."""
    end, _, port = terminal
    captures = Captures(tmp_path / "out")
    captures.start(port)
    nonces = count(1)

    def play() -> bool:
        os.write(end, heard(console(next(nonces)).power_up(), 57_600, _listened_at(end)))
        return captures.status(port).counts.packets > 0

    until(play)
    captures.stop_all()
    status = captures.status(port)
    assert status.baud == 57_600 and status.unplugged == 0
    assert read_sidecar(status.path).tried == (115_200,)


def test_a_terminal_has_no_rate_to_be_tried(tmp_path, terminal, monkeypatch):
    monkeypatch.setattr("ingest.capture.rate_search.LEAST_S", 0.0)
    end, name, _ = terminal
    captures = Captures(tmp_path / "out")
    captures.start(name)
    os.write(end, NOISE)
    until(lambda: captures.status(name).notices)
    captures.stop_all()
    assert _listened_at(end) == 115_200 and captures.status(name).search == ()


# --- the sidecar ------------------------------------------------------------------------------------------------------


def test_the_sidecar_says_at_which_rates_was_listened(tmp_path):
    recording = Recording(tmp_path / "a.playlog", "COM3", 115_200, search=True)
    recording.take(b"abc")
    recording.listens_at(57_600)
    recording.take(b"de")
    recording.listens_at(9_600)
    recording.take(b"f")
    recording.close()
    found = read_sidecar(recording.path)
    assert (found.noise_bytes, found.tried, found.baud, found.unread_lines) == (5, (115_200, 57_600), 9_600, 0)


def test_what_comes_before_the_first_packet_is_no_damage_also_at_its_rate(tmp_path):
    """The rate may change in the midst of a packet: its rest is no packet, and harms nothing."""
    now = [0.0]
    recording = Recording(tmp_path / "a.playlog", "COM3", 115_200, search=True, clock=lambda: now[0])
    recording.take(NOISE)
    now[0] = LEAST_S
    baud = recording.baud_to_try(quiet=True)
    recording.listens_at(baud)
    encoder = console()
    recording.take(b"\x07rest\0\x08another\0" + encoder.power_up() + run(encoder, 10) + b"\x09harmed\0")
    now[0] = 2 * LEAST_S
    assert recording.baud_to_try(quiet=True) is None and recording.status().counts.rejected == 1
    recording.close()
    assert read_sidecar(recording.path).noise_bytes == len(NOISE) + 6 + 9 + 1, (
        "and the zero that a power-up begins with"
    )
    with open_study(tmp_path / "study.duckdb") as study:
        taken = import_log(study, recording.path)
    assert (taken.rejected_packets, taken.runs, taken.damaged_runs) == (1, 1, 0)


def test_a_sidecar_that_claims_nonsense_harms_nothing(tmp_path):
    lines = ['{"capture":1,"started":"2026-03-01T09:30:00+00:00","source":"x","baud":9600}']
    lines += [f'{{"at":1,"byte":5,"baud":{rate}}}' for rate in ('"x"', "-1", "0", "null", "[]", "1e9")]
    assert parse_sidecar("\n".join(lines).encode()).unread_lines == 6
    lines += [f'{{"at":1,"byte":{1 << 60},"baud":{rate}}}' for rate in range(1, 1000)]
    found = parse_sidecar("\n".join(lines).encode())
    assert len(found.tried) <= 8
    log = tmp_path / "a.playlog"
    log.write_bytes(console().power_up())
    log.with_suffix(".capture.jsonl").write_text("\n".join(lines), encoding="utf-8")
    with open_study(tmp_path / "study.duckdb") as study, pytest.raises(Exception, match="packet"):
        import_log(study, log)
