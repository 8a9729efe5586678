"""Recording: what was received is in the file, whatever happens to port, disk and process."""

import contextlib
import errno
import json
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from ingest.assembling.whose import Came, whose
from ingest.capture.captures import RETRY_S, Captures
from ingest.capture.player_tag import BadTag
from ingest.capture.recording import Recording, State
from ingest.capture.sidecar import parse_sidecar, read_sidecar, sidecar_path
from ingest.capture.sources import CannotOpen, Gone, SerialSource, source_named
from ingest.study.capture_counts import About
from ingest.wire.dictionary_json import from_json
from ingest.wire.encoder import Encoder
from tests.needs import need
from tests.waiting import until

GAME = {
    "game": "Wick Trim",
    "firmware": "1.0",
    "clock": 1000,
    "screen": [160, 128],
    "kinds": [
        {"name": "begin", "role": "run_start", "fields": [{"name": "who", "type": "u8", "role": "player"}]},
        {"name": "fell", "role": "death"},
        {"name": "over", "role": "run_end", "fields": [{"name": "how", "type": "u8", "role": "ending"}]},
    ],
}


def console(nonce: int = 1) -> Encoder:
    return Encoder(*from_json(GAME), nonce=nonce)


def run(encoder: Encoder, at: int) -> bytes:
    """One run of one second with one death, every packet flushed."""
    out = encoder.event(at, "begin", {}) + encoder.flush()
    return out + encoder.event(at + 900, "fell", {}) + encoder.event(at + 1000, "over", {"how": 1})


class FakeSource:
    """A source whose chunks the test hands over; None makes it go away until it is opened again."""

    def __init__(self, *chunks: bytes | None, name: str = "fake"):
        self.name = name
        self.chunks = list(chunks)

    def open(self) -> None:
        if not self.chunks:
            raise CannotOpen("not there")

    def read(self) -> bytes:
        if not self.chunks:
            time.sleep(0.01)
            return b""
        chunk = self.chunks.pop(0)
        if chunk is None:
            raise Gone
        return chunk

    def close(self) -> None:
        pass


@pytest.fixture
def pty():
    """A pseudo-terminal in raw mode: the console's end and the name of the port."""
    need(hasattr(os, "openpty"), "this system has no pseudo-terminals")
    import tty

    master, slave = os.openpty()
    tty.setraw(slave)
    name = os.ttyname(slave)
    os.close(slave)
    yield master, name
    with contextlib.suppress(OSError):
        os.close(master)


def test_bytes_from_a_port_are_in_the_file_before_anyone_stops(tmp_path, pty):
    end, name = pty
    captures = Captures(tmp_path)
    captures.start(name)
    sent = console().power_up() + bytes(range(256)) * 4
    os.write(end, sent)
    path = captures.status(name).path
    until(lambda: path.stat().st_size == len(sent))
    assert path.read_bytes() == sent
    assert captures.stop(name)
    assert captures.status(name).state == State.STOPPED


def test_unplugging_loses_nothing_received_and_plugging_in_goes_on_in_the_same_file(tmp_path):
    need(hasattr(os, "openpty"), "this system has no pseudo-terminals")
    import tty

    # The name stays while the pseudo-terminal behind it changes, as with a console plugged in again.
    port = tmp_path / "port"

    def plug_in() -> int:
        master, slave = os.openpty()
        tty.setraw(slave)
        port.symlink_to(os.ttyname(slave))
        os.close(slave)
        return master

    end = plug_in()
    captures = Captures(tmp_path / "out")
    name = captures.start(str(port))
    path = captures.status(name).path
    sent = b""
    for number in range(1, 4):
        part = console(number).power_up() + run(console(number), 10)
        os.write(end, part)
        sent += part
        until(lambda: path.stat().st_size == len(sent))  # noqa: B023
        port.unlink()  # first: what it names may be another's as soon as it is free
        os.close(end)
        until(lambda: captures.status(name).state == State.UNPLUGGED)
        assert captures.status(name).trouble == (
            "the port has gone; the recording goes on once it is there again"  # it is no USB port
        )
        end = plug_in()
        until(lambda: captures.status(name).state == State.RECORDING)
    port.unlink()
    os.close(end)
    captures.stop_all()
    assert path.read_bytes() == sent
    status = captures.status(name)
    assert status.unplugged >= 3
    assert status.lost_bytes == 0
    lines = [json.loads(line) for line in sidecar_path(path).read_text(encoding="utf-8").splitlines()]
    assert [line["line"] for line in lines if "line" in line][:6] == ["lost", "back"] * 3


def test_a_terminal_that_has_gone_is_not_taken_from_whoever_gets_its_name_next(tmp_path, pty):
    """The system gives a free name to the next terminal that is opened: somebody's shell, or another console."""
    end, name = pty
    captures = Captures(tmp_path)
    captures.start(name)
    os.close(end)
    until(lambda: captures.status(name).state == State.UNPLUGGED)
    master, slave = os.openpty()
    try:
        # Where another process was quicker, the name is not ours, but then it is in use all the same.
        time.sleep(3 * RETRY_S)
        assert captures.status(name).state == State.UNPLUGGED
        assert captures.status(name).trouble == ("the terminal has gone; end this recording and begin a new one")
        if os.ttyname(slave) == name:
            other = SerialSource(name)
            other.open()  # not locked by the recording
            other.close()
    finally:
        os.close(master)
        os.close(slave)
        captures.stop_all()
    assert captures.status(name).bytes == 0


def test_a_read_that_ends_in_a_hang_up_hands_over_what_came_before(pty):
    """pyserial's read(n) drops what it has got when the port hangs up; asking for what waits does not."""
    end, name = pty
    source = SerialSource(name)
    source.open()
    os.write(end, b"last words")
    until(lambda: source._port.in_waiting == 10)
    assert source.read() == b"last words"
    os.close(end)
    with pytest.raises(Gone):
        for _ in range(50):
            source.read()
    source.close()


def test_a_console_reset_shows_as_a_new_power_up_and_ends_the_run(tmp_path):
    recording = Recording(tmp_path / "a.playlog", "x")
    first, second = console(1), console(2)
    recording.take(first.power_up() + first.event(5, "begin", {}) + first.flush())
    assert recording.status().counts.in_run
    recording.take(second.power_up())
    counts = recording.status().counts
    assert (counts.power_ups, counts.runs, counts.in_run, counts.game) == (2, 1, False, "Wick Trim")


def test_live_counts_see_damage_gaps_and_drops(tmp_path):
    recording = Recording(tmp_path / "a.playlog", "x")
    encoder = console()
    recording.take(encoder.power_up() + run(encoder, 10))
    flipped = bytearray(encoder.event(1500, "fell", {}))
    flipped[4] ^= 0x10
    recording.take(bytes(flipped))
    encoder.event(1600, "fell", {})  # never comes
    encoder.drop(7)
    recording.take(run(encoder, 1700))
    counts = recording.status().counts
    assert (counts.runs, counts.deaths, counts.rejected, counts.missing_packets, counts.dropped_events) == (
        2,
        2,
        1,
        2,
        7,
    )


def test_the_result_is_the_same_for_every_chunking(tmp_path):
    encoder = console()
    stream = encoder.power_up() + b"".join(run(encoder, 10 + 2000 * n) for n in range(5)) + b"\x05garbage\0"
    results = []
    for size in (1, 7, 64, len(stream)):
        recording = Recording(tmp_path / f"{size}.playlog", "x")
        for at in range(0, len(stream), size):
            recording.take(stream[at : at + size])
        results.append((recording.status().counts, tuple(recording._watch.start_bytes)))
        assert recording.close()
        assert recording.path.read_bytes() == stream
    assert all(result == results[0] for result in results)
    assert results[0][0].runs == 5


class Disk:
    """A disk that can be full: writes through to the real one, in part where little room is left."""

    def __init__(self, room: int):
        self.room = room

    def write(self, descriptor: int, data: bytes) -> int:
        if self.room <= 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        written = os.write(descriptor, data[: self.room])
        self.room -= written
        return written


def test_a_full_disk_is_said_loudly_and_nothing_is_lost_once_there_is_room(tmp_path):
    disk = Disk(room=1000)
    recording = Recording(tmp_path / "a.playlog", "x", write=disk.write)
    encoder = console()
    sent = encoder.power_up() + b"".join(run(encoder, 10 + 2000 * n) for n in range(40))
    assert len(sent) > 2000
    for at in range(0, len(sent), 50):
        recording.take(sent[at : at + 50])
    recording.next_player("P04")
    status = recording.status()
    assert status.state == State.DISK
    assert "No space left" in (status.trouble or "")
    assert status.counts.runs == 40  # the counting goes on
    assert status.pending_bytes == len(sent) - recording.path.stat().st_size
    assert not recording.close()
    disk.room = 1 << 20
    recording.take(b"")
    assert recording.status().state == State.RECORDING
    assert recording.status().trouble is None
    assert recording.close()
    assert recording.path.read_bytes() == sent
    read = read_sidecar(recording.path)
    assert read is not None
    assert read.lost_bytes == 0
    assert [one.player for one in read.said] == ["P04"]


def test_what_no_memory_was_left_for_is_counted_and_its_place_is_noted(tmp_path):
    disk = Disk(room=200)
    recording = Recording(tmp_path / "a.playlog", "x", write=disk.write, waiting_bytes=300)
    for _ in range(10):
        recording.take(b"\x01" * 100)
    kept = recording.status()
    assert kept.lost_bytes > 0
    assert f"{kept.lost_bytes} bytes were lost" in (kept.trouble or "")
    disk.room = 1 << 20
    recording.take(b"\x02" * 100)
    assert recording.close()
    content = recording.path.read_bytes()
    assert len(content) + kept.lost_bytes == 1100
    lines = [json.loads(line) for line in sidecar_path(recording.path).read_text(encoding="utf-8").splitlines()]
    (lost,) = [line for line in lines if "lost" in line]
    assert lost["lost"] == kept.lost_bytes
    assert content[lost["byte"] :].startswith(b"\x02") or content[lost["byte"] - 100 :].startswith(b"\x02")


def test_giving_up_on_a_full_disk_says_what_was_lost(tmp_path):
    recording = Recording(tmp_path / "a.playlog", "x", write=Disk(room=500).write)
    recording.take(bytes(range(1, 101)) * 10)
    assert not recording.close()
    assert recording.close(give_up=True)
    status = recording.status()
    assert status.state == State.STOPPED
    assert status.lost_bytes == 1000 - recording.path.stat().st_size > 0


def test_a_file_size_limit_of_the_system_is_survived(tmp_path):
    """The real thing: the kernel refuses a write half way, and allows the rest later."""
    need(sys.platform != "win32", "this system has no file size limits")
    program = """
import resource, signal, sys
from pathlib import Path
from ingest.capture.recording import Recording
resource.setrlimit(resource.RLIMIT_FSIZE, (3000, resource.RLIM_INFINITY))
recording = Recording(Path(sys.argv[1]), "x")
for n in range(50):
    recording.take(bytes([n + 1]) * 100)
status = recording.status()
assert status.state == "disk" and recording.path.stat().st_size == 3000, status
resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
assert recording.close()
"""
    path = tmp_path / "a.playlog"
    subprocess.run([sys.executable, "-c", program, str(path)], check=True, timeout=60)
    assert path.read_bytes() == b"".join(bytes([n + 1]) * 100 for n in range(50))


def test_kill_minus_nine_loses_no_received_byte(tmp_path, pty):
    end, name = pty
    need(hasattr(signal, "SIGKILL"), "this system has no kill -9")
    program = """
import sys, time
from pathlib import Path
from ingest.capture.captures import RETRY_S, Captures
from ingest.study.capture_counts import About
captures = Captures(Path(sys.argv[1]))
captures.start(sys.argv[2])
captures.next_player(sys.argv[2], "P09")
print("ready", flush=True)
while True:
    print(captures.status(sys.argv[2]).bytes, flush=True)
    time.sleep(0.01)
"""
    child = subprocess.Popen([sys.executable, "-c", program, str(tmp_path), name], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    assert child.stdout.readline() == "ready\n"
    encoder, sent, received = console(), b"", 0
    for number in range(30):
        part = (encoder.power_up() if number == 0 else b"") + run(encoder, 10 + 2000 * number)
        os.write(end, part)
        sent += part
        received = int(child.stdout.readline())
    child.send_signal(signal.SIGKILL)
    # Whatever it said it had received after the last look counts as well.
    rest = child.stdout.read().split()
    received = max([received, *(int(word) for word in rest if word.isdecimal())])
    child.wait()
    (path,) = tmp_path.glob("*.playlog")
    content = path.read_bytes()
    assert 0 < received <= len(content) <= len(sent)
    assert content == sent[: len(content)]
    read = read_sidecar(path)
    assert read is not None
    assert [one.player for one in read.said] == ["P09"]


def test_several_consoles_at_once_keep_apart(tmp_path):
    streams = {f"fake{n}": os.urandom(20_000).replace(b"\0", b"\1") for n in range(6)}
    captures = Captures(tmp_path)
    for name, stream in streams.items():
        captures.start_source(FakeSource(*(stream[at : at + 97] for at in range(0, len(stream), 97)), name=name))
    until(lambda: all(status.bytes == 20_000 for status in captures.statuses()))
    captures.stop_all()
    for status in captures.statuses():
        assert status.path.read_bytes() == streams[status.source]
    assert len({status.path for status in captures.statuses()}) == 6


def test_two_recordings_of_one_port_are_refused(tmp_path, pty):
    _, name = pty
    captures = Captures(tmp_path)
    captures.start(name)
    with pytest.raises(CannotOpen, match="already"):
        captures.start(name)
    with pytest.raises(CannotOpen, match="Another program has the port open"):
        Captures(tmp_path).start(name)
    captures.stop_all()


def test_a_port_that_is_not_there_is_said_with_what_to_do(tmp_path):
    with pytest.raises(CannotOpen, match="setscrew ports"):
        Captures(tmp_path).start(str(tmp_path / "no_such_port"))
    with pytest.raises(CannotOpen, match="tcp:HOST:PORT"):
        source_named("tcp:5000")
    with pytest.raises(CannotOpen, match="other side"):
        Captures(tmp_path).start(f"unix:{tmp_path / 'no_such_socket'}")


def test_a_socket_is_recorded_to_its_last_byte(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as server:
        captures = Captures(tmp_path)
        name = captures.start(f"tcp:127.0.0.1:{server.getsockname()[1]}")
        other, _ = server.accept()
        with other:
            sent = os.urandom(100_000)
            other.sendall(sent)
        until(lambda: captures.status(name).bytes == len(sent))
        captures.stop(name)
        assert captures.status(name).path.read_bytes() == sent


def test_tags_are_bound_to_runs_that_follow_each_other_within_one_read(tmp_path):
    recording = Recording(tmp_path / "a.playlog", "x")
    encoder = console()
    recording.take(encoder.power_up() + run(encoder, 10))
    assert recording.next_player("p3") == "P03"
    recording.next_player("P04")
    assert recording.status().waiting == ("P03", "P04")
    recording.take(run(encoder, 2000) + run(encoder, 4000) + run(encoder, 6000))
    status = recording.status()
    assert (status.player, status.waiting) == (None, ())
    starts = recording._watch.start_bytes
    recording.this_player("P05")
    with pytest.raises(BadTag):
        recording.next_player("Maria")
    recording.remark("held it\nupside down")
    recording.close()
    content = sidecar_path(recording.path).read_bytes()
    assert b"Maria" not in content
    read = parse_sidecar(content)
    assert whose(read.said, [Came(start) for start in starts]).players == (None, "P03", "P04", "P05")
    assert read.said[-1].remark == "held it upside down"
    # The place of a run is where its packet's frame begins: behind the zero of the frame before.
    stream = recording.path.read_bytes()
    assert all(stream[start - 1] == 0 and stream[start] != 0 for start in starts)


def test_a_late_attach_binds_by_place_and_not_by_the_moment_the_dictionary_came(tmp_path):
    """A capture that begins in the middle reads its runs only when the dictionary comes: no tag slips."""
    encoder = console()
    encoder.power_up()  # sent before anyone listened
    now = [0.0]
    recording = Recording(tmp_path / "a.playlog", "x", clock=lambda: now[0])
    recording.take(run(encoder, 10))
    now[0] = 60.0  # so late that the tag cannot be meant for the run before
    recording.next_player("P01")
    recording.take(run(encoder, 1100))
    assert recording.status().counts.runs == 0
    at = 2100
    while recording.status().counts.runs == 0:
        assert at < 60_000
        recording.take(encoder.event(at, "fell", {}))
        at += 2100
    status = recording.status()
    assert (status.counts.runs, status.player, status.waiting) == (2, "P01", ())
    assert recording._whose().players == (None, "P01")


def test_the_player_that_the_console_logs_is_shown_unless_a_tag_was_given(tmp_path):
    recording = Recording(tmp_path / "a.playlog", "x")
    encoder = console()
    recording.take(encoder.power_up() + encoder.event(5, "begin", {"who": 12}) + encoder.flush())
    assert recording.status().player == "P12"
    recording.this_player("P03")
    assert recording.status().player == "P03"
    recording.take(run(encoder, 100))
    assert recording.status().player is None


def test_a_hostile_log_of_nothing_but_runs_costs_bounded_memory(tmp_path, monkeypatch):
    monkeypatch.setattr("ingest.capture.live.MOST_RUNS", 10)
    recording = Recording(tmp_path / "a.playlog", "x")
    encoder = console()
    recording.take(
        encoder.power_up() + b"".join(encoder.event(5 + n, "begin", {}) for n in range(50)) + encoder.flush()
    )
    assert recording.status().counts.runs == 50
    assert len(recording._watch.start_bytes) == len(recording._watch.logged_players) == 10


def test_arrivals_are_noted_at_most_ten_times_a_second(tmp_path):
    clock = iter(n * 0.01 for n in range(10_000))
    recording = Recording(tmp_path / "a.playlog", "x", clock=lambda: next(clock))
    for _ in range(300):
        recording.take(b"\x01" * 10)
    recording.close()
    read = read_sidecar(recording.path)
    assert read is not None
    at = [seconds for seconds, _ in read.arrivals]
    assert 20 <= len(at) <= 10 * at[-1] + 2
    assert read.arrivals[-1][1] == 3000


def test_a_fault_in_the_live_counts_never_ends_the_recording(tmp_path, monkeypatch):
    recording = Recording(tmp_path / "a.playlog", "x")

    def broken(chunk: bytes) -> None:
        raise RuntimeError("boom")

    monkeypatch.setattr(recording._watch, "feed", broken)
    recording.take(b"abc")
    assert "boom" in (recording.status().trouble or "")
    recording.take(b"def")
    assert recording.path.read_bytes() == b"abcdef"


def test_an_old_recording_is_never_overwritten(tmp_path):
    path = Path(tmp_path / "a.playlog")
    path.write_bytes(b"old")
    with pytest.raises(FileExistsError):
        Recording(path, "x")
    assert path.read_bytes() == b"old"


def test_events_that_wait_for_their_dictionary_are_told_after_two_seconds_and_until_it_comes(tmp_path):
    times = [0.0]
    recording = Recording(tmp_path / "a.playlog", "fake", 9600, clock=lambda: times[0])
    encoder = console()
    frames = [frame + b"\0" for frame in encoder.power_up().split(b"\0") if frame]
    recording.take(run(encoder, 1000))
    times[0] = 1.5
    assert recording.status().notices == (), "a console that was just switched on"
    times[0] = 2.5
    (notice,) = recording.status().notices
    assert notice.about == About.MISSING and "none of it came" in notice.what and "Reset" in notice.remedy
    recording.take(b"".join(frames))
    times[0] = 3.0
    assert recording.status().notices == ()
    assert recording.close()


def test_only_a_serial_line_has_a_speed(tmp_path):
    """So that nobody is told to raise the baud rate of a socket."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        captures = Captures(tmp_path)
        name = captures.start(f"tcp:127.0.0.1:{server.getsockname()[1]}", 9600)
        captures.stop_all(give_up=True)
        sidecar = read_sidecar(captures.status(name).path)
    assert sidecar is not None and sidecar.baud is None
    assert parse_sidecar(b'{"capture": 1, "started": "", "source": "COM3", "baud": 9600}').baud == 9600
    for wrong in (b"true", b"-9600", b"0", b"1e400", b'"fast"'):
        line = b'{"capture": 1, "started": "", "source": "COM3", "baud": ' + wrong + b"}"
        assert parse_sidecar(line).baud is None
