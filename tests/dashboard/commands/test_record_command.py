"""`setscrew record` and `setscrew ports`: what is typed, what is shown, what is left behind."""

import contextlib
import json
import os
import signal
import subprocess
import sys
from dataclasses import replace
from html import unescape

import pytest

from dashboard.cli import main
from dashboard.command_line import exits
from dashboard.commands.record_command import BadWords, obey, status_line
from dashboard.parts.console_card import state
from ingest.capture.captures import Captures
from ingest.capture.player_tag import BadTag
from ingest.capture.sidecar import Said, read_sidecar
from ingest.wire import session
from tests.ingest.test_capture import FakeSource, console, run
from tests.ingest.test_given_dictionary import GAME, play_log, with_labels
from tests.interrupting import interruptible
from tests.needs import need
from tests.waiting import PATIENCE_S, until


@pytest.fixture
def two_consoles(tmp_path):
    captures = Captures(tmp_path)
    names = [captures.start_source(FakeSource(b"", name=name)) for name in ("left", "right")]
    yield captures, names
    captures.stop_all()


def test_tags_go_to_the_console_that_was_named(two_consoles):
    captures, names = two_consoles
    assert obey(captures, names, "2: p7 3") == "right: P07 plays the next 3 runs to begin"
    assert obey(captures, names, "1:P08") == "left: P08 plays the next run to begin"
    assert captures.status("right").waiting == ("P07",) * 3
    assert captures.status("left").waiting == ("P08",)
    assert obey(captures, names, "2: -") == "right: no tag waits now"
    assert captures.status("right").waiting == ()
    assert obey(captures, names, "1: =P09") == "left: P09 plays this run"
    assert obey(captures, names, "1: # held it upside down") == "left: noted"


@pytest.mark.parametrize(
    ("words", "refusal", "message"),
    [
        ("P07", BadWords, "For which console"),
        ("3: P07", BadWords, "no console 3"),
        ("0: P07", BadWords, "no console 0"),
        ("1: P07 99", BadWords, "no number of runs"),
        ("1: P07 x", BadWords, "no number of runs"),
        ("1: Maria", BadTag, "no player tag"),
        ("1: =Maria", BadTag, "no player tag"),
        ("1:", BadTag, "no player tag"),
    ],
)
def test_other_words_are_refused_and_change_nothing(two_consoles, words, refusal, message):
    captures, names = two_consoles
    with pytest.raises(refusal, match=message):
        obey(captures, names, words)
    assert all(status.waiting == () for status in captures.statuses())


def test_the_status_line_tells_runs_player_damage_and_drops(tmp_path):
    captures = Captures(tmp_path)
    encoder = console()
    stream = encoder.power_up()
    encoder.drop(3)
    source = FakeSource(stream + run(encoder, 10) + b"\x05junk\0", name="left")
    captures.start_source(source)
    until(lambda: captures.status("left").counts.dropped_events == 3)
    captures.this_player("left", "P02")
    line = status_line(1, captures.status("left"))
    captures.stop_all()
    assert line.startswith("1 Wick Trim")
    for words in ("run 1 over P02", "1 damaged", "0 missing", "3 dropped", "B/s"):
        assert words in line


def test_a_refused_dictionary_is_told_at_once_in_the_terminal_and_on_the_page(tmp_path, monkeypatch, capsys):
    """A part of it on one console, the whole on the other: each once, with a remedy that can be carried out."""
    part = play_log(with_labels({1: "beam", 300: "wall", 301: "floor"}))
    whole = play_log(replace(GAME, clock_hz=50))
    sources = {"x": FakeSource(part, name="x"), "y": FakeSource(whole, name="y")}
    monkeypatch.setattr("ingest.capture.captures.source_named", lambda name, baud: sources[name])
    assert main(["record", "x", "y", "--into", str(tmp_path), "--stop-after", "1.2"]) == exits.OK
    said = capsys.readouterr().out.splitlines()
    for words in ("x: Dictionary line 10 'label 300 wall'", "y: The dictionary was refused"):
        (line,) = [line for line in said if line.startswith(words)]
        assert "ingest/CAPTURE.md" in line
    captures = Captures(tmp_path / "page")
    for name, log in (("x", part), ("y", whole)):
        captures.start_source(FakeSource(log, name=name))
        until(lambda name=name: captures.status(name).notices)
    shown = {name: unescape(str(state(captures.status(name), None))) for name in ("x", "y")}
    captures.stop_all()
    assert "label 300 wall" in shown["x"] and "label 301 floor" in shown["x"]
    assert shown["x"].count("ingest/CAPTURE.md") == 1, "one remedy for both"
    assert "'clock 50'" in shown["y"] and "ingest/CAPTURE.md" in shown["y"]


def test_that_nothing_is_read_after_too_many_resets_is_told_in_the_terminal_and_on_the_page(
    tmp_path, monkeypatch, capsys
):
    """Its bytes are all kept, and what is told is told once; until the last reset that is read nothing is said."""
    monkeypatch.setattr(session, "MAX_POWER_UPS", 3)
    encoder = console()
    parts = [encoder.power_up() + run(encoder, 10)]
    for _ in range(4):
        parts.append(encoder.reset() + run(encoder, 10))
    enough, log = b"".join(parts[:3]), b"".join(parts)
    behind = len(enough) + 1  # a power-up begins with the end of whatever was sent before it
    monkeypatch.setattr("ingest.capture.captures.source_named", lambda name, baud: FakeSource(log, name=name))
    assert main(["record", "x", "--into", str(tmp_path), "--stop-after", "1.2"]) == exits.OK
    told = [line for line in capsys.readouterr().out.splitlines() if "nothing is read" in line]
    assert len(told) == 1 and told[0].startswith("x: ") and f"{behind:,}" in told[0] and "new one" in told[0]
    assert next(tmp_path.glob("*.playlog")).read_bytes() == log
    captures = Captures(tmp_path / "page")
    for name, bytes_ in (("sound", enough), ("endless", log)):
        captures.start_source(FakeSource(bytes_, name=name))
        until(lambda name=name, bytes_=bytes_: captures.status(name).bytes == len(bytes_))
    sound, endless = captures.status("sound"), captures.status("endless")
    captures.stop_all()
    assert (sound.counts.runs, sound.counts.unread_from, sound.notices) == (3, None, ())
    assert (endless.counts.runs, endless.counts.unread_from) == (3, behind)
    assert "NO LONGER READ" in status_line(1, endless) and "NO LONGER READ" not in status_line(1, sound)
    shown = unescape(str(state(endless, None)))
    assert f"From byte {behind:,} of the log on nothing is read" in shown and "none going on" not in shown


def test_a_recording_from_the_command_line_takes_tags_and_ends_with_ctrl_c(tmp_path):
    need(hasattr(os, "openpty"), "this system has no pseudo-terminals")
    import tty

    end, slave = os.openpty()
    tty.setraw(slave)
    port = os.ttyname(slave)
    os.close(slave)
    command = [sys.executable, "-m", "dashboard.cli", "record", port, "--into", str(tmp_path), "--json"]
    child = subprocess.Popen(
        interruptible(command), stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert child.stdin is not None
    assert child.stderr is not None
    assert "Recording" in child.stderr.readline()
    child.stdin.write("P05\nMaria\n")
    child.stdin.flush()
    assert "P05 plays the next run" in child.stderr.readline()
    assert "no player tag" in child.stderr.readline()
    encoder = console()
    sent = encoder.power_up() + run(encoder, 10)
    os.write(end, sent)
    (log,) = tmp_path.glob("*.playlog")
    until(lambda: log.stat().st_size == len(sent))
    child.send_signal(signal.SIGINT)
    out, _ = child.communicate(timeout=PATIENCE_S)
    os.close(end)
    assert child.returncode == exits.OK
    (recording,) = json.loads(out)["recordings"]
    assert recording["path"] == str(log)
    assert (recording["bytes"], recording["player"], recording["lost_bytes"]) == (len(sent), "P05", 0)
    assert (recording["counts"]["runs"], recording["counts"]["deaths"]) == (1, 1)
    assert log.read_bytes() == sent
    read = read_sidecar(log)
    assert read is not None
    assert [replace(one, at=None) for one in read.said] == [Said(0, "P05")]


def test_a_terminal_shows_what_is_typed_below_the_live_lines(tmp_path):
    """On a real terminal: live lines are drawn, keys are echoed, backspace works, the mode is put back."""
    need(hasattr(os, "openpty"), "this system has no pseudo-terminals")
    import termios

    master, slave = os.openpty()
    program = """
import time
from dashboard.command_line.terminal import Terminal
with Terminal() as terminal:
    end = time.monotonic() + 250
    while time.monotonic() < end:
        for line in terminal.typed_lines():
            terminal.say("typed " + line)
            if line == "P07":
                raise SystemExit(0)
        terminal.show(["status"])
        time.sleep(0.02)
raise SystemExit(1)
"""
    before = termios.tcgetattr(slave)
    child = subprocess.Popen([sys.executable, "-c", program], stdin=slave, stdout=slave, stderr=slave)
    until(lambda: not termios.tcgetattr(slave)[3] & termios.ICANON)
    os.write(master, b"P08\x7f7\n")
    assert child.wait(timeout=PATIENCE_S) == 0
    assert termios.tcgetattr(slave) == before
    os.close(slave)
    shown = b""
    with contextlib.suppress(OSError):
        while some := os.read(master, 4096):
            shown += some
    os.close(master)
    assert b"typed P07" in shown
    assert b"status" in shown


def test_a_port_that_is_not_there_ends_with_the_code_for_input(tmp_path, capsys):
    assert main(["record", str(tmp_path / "nothing"), "--into", str(tmp_path)]) == exits.INPUT
    assert "setscrew ports" in capsys.readouterr().err
    assert not list(tmp_path.glob("*.playlog"))


def test_a_recording_ends_by_itself_after_the_time_that_was_set(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("ingest.capture.captures.source_named", lambda name, baud: FakeSource(b"abc", name=name))
    assert main(["record", "x", "y", "--into", str(tmp_path), "--stop-after", "0.5"]) == exits.OK
    assert [path.read_bytes() for path in sorted(tmp_path.glob("*.playlog"))] == [b"abc", b"abc"]
    assert "3 bytes, 0 runs" in capsys.readouterr().out


def test_ports_are_listed_for_people_and_for_machines(monkeypatch, capsys):
    class Found:
        device, description, vid, pid, serial_number, location = "COM9", "Lantern", 0x2E8A, 10, "A1", None

    class Other:
        device, description, vid, pid, serial_number, location = "COM1", "n/a", None, None, None, None

    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [Other, Found])
    assert main(["ports"]) == exits.OK
    assert capsys.readouterr().out.splitlines()[0] == "COM9  Lantern  (USB 2e8a:000a)"
    assert main(["ports", "--json"]) == exits.OK
    assert json.loads(capsys.readouterr().out)["ports"] == [
        {"name": "COM9", "description": "Lantern", "usb": "2e8a:000a"},
        {"name": "COM1", "description": "n/a", "usb": None},
    ]
    monkeypatch.setattr("serial.tools.list_ports.comports", list)
    assert main(["ports"]) == exits.OK
    assert "cable" in capsys.readouterr().out
