"""A session played live sends the bytes of its log, at its pace, to a file, a socket and a terminal."""

import os
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

import demo_logs
from demo_logs.simulator.live import paced, run_live
from demo_logs.simulator.native import build, compiler
from demo_logs.simulator.sessions import SESSIONS
from tests.needs import need

SESSION = next(session for session in SESSIONS if session.name == "one_puff_a_table1")
LOG = (Path(demo_logs.__file__).parent / "one_puff_a_table1.playlog").read_bytes()


@pytest.fixture(scope="module")
def firmware(tmp_path_factory):
    need(compiler(), "no C compiler is installed")
    return build("one_puff", None, tmp_path_factory.mktemp("live"))


def test_the_bytes_are_those_of_the_log(firmware):
    pieces = []
    sent = run_live(SESSION, firmware, pieces.append, speed=0, seconds=40)
    data = b"".join(pieces)
    assert len(data) == sent > 1000
    assert LOG.startswith(data)


def test_waiting_changes_the_pace_and_not_the_bytes(firmware):
    pieces = []
    begun = time.monotonic()
    run_live(SESSION, firmware, pieces.append, speed=40, seconds=40)
    assert time.monotonic() - begun > 0.9
    assert len(pieces) > 3, "they come one after the other"
    assert LOG.startswith(b"".join(pieces))


def test_the_console_hears_the_time_pass_between_events():
    told = list(paced(["e 0 1\n", "e 300 1\n", "r 7\n", "e 10 1\n"], clock_hz=1000, speed=2))
    before = told[: told.index("r 7\n")]
    ticks = [int(line.split()[1]) for line in before if line[0] == "t"]
    assert len(ticks) >= 2 and all(0 < tick <= 300 for tick in ticks) and ticks == sorted(ticks)
    assert [line for line in told if line[0] != "t"] == ["e 0 1\n", "e 300 1\n", "r 7\n", "e 10 1\n"]


def started(*words):
    return subprocess.Popen(
        [
            sys.executable,
            "-m",
            "demo_logs.simulator.live",
            *words,
            "--session",
            SESSION.name,
            "--speed",
            "0",
            "--seconds",
            "40",
        ],
        stdout=subprocess.PIPE,
        text=True,
    )


def test_through_a_socket(firmware):
    with started("tcp:0") as live:
        port = int(live.stdout.readline().rpartition(":")[2])
        data = bytearray()
        with socket.create_connection(("127.0.0.1", port), timeout=60) as listener:
            while piece := listener.recv(4096):
                data += piece
        assert live.wait(60) == 0
    assert len(data) > 1000 and LOG.startswith(data)


def test_through_a_terminal(firmware):
    need(hasattr(os, "openpty"), "this system has no pseudo-terminals")
    with started("pty") as live:
        name = live.stdout.readline().strip()
        data = bytearray()

        def read():
            end = os.open(name, os.O_RDONLY | os.O_NOCTTY)
            try:
                while piece := os.read(end, 4096):
                    data.extend(piece)
            except OSError:
                pass  # the terminal went away: the session is over
            finally:
                os.close(end)

        reader = threading.Thread(target=read)
        reader.start()
        assert live.wait(60) == 0
        reader.join(10)
    assert len(data) > 1000 and LOG.startswith(data)
