"""`python -m demo_logs.simulator.live`: one demo session in real time, for trying a capture without a board.

The bytes come from the C recorder as they would from the console. They go into a file, a TCP socket (`tcp:PORT`: waits
for one listener on 127.0.0.1, for pyserial's `socket://`; port 0 is any that is free) or a pseudo-terminal (`pty`, not
on Windows; its name is printed, and the session begins when somebody opens it).
"""

import argparse
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO

from demo_logs.simulator.lantern import GAMES
from demo_logs.simulator.native import Firmware, build
from demo_logs.simulator.record import Memories, nonce_of, play
from demo_logs.simulator.sessions import SESSIONS, Session, people
from demo_logs.simulator.write import TUNED

Sink = Callable[[bytes], None]
STEP_S = 0.02


def commands_of(session: Session, firmware: Firmware) -> list[str]:
    """The console's commands for `session`, after all that its people played of the game before."""
    memories: Memories = {}
    everybody = people()
    for earlier in SESSIONS:
        if earlier.name == session.name:
            break
        if earlier.game == session.game:
            play(earlier, firmware, everybody, memories)
    return play(session, firmware, everybody, memories).commands


def paced(commands: Iterable[str], clock_hz: int, speed: float) -> Iterator[str]:
    """The commands, each when its time has come; between them the console is told how late it is.

    `speed` 10 plays ten seconds in one; 0 does not wait.
    """
    begun = time.monotonic()
    last = 0
    for command in commands:
        words = command.split()
        if words[0] == "r":
            begun, last = time.monotonic(), 0
        else:
            tick = int(words[1])
            while speed > 0 and (wait := begun + tick / clock_hz / speed - time.monotonic()) > 0:
                time.sleep(min(wait, STEP_S))
                passed = min(tick, int((time.monotonic() - begun) * speed * clock_hz))
                if passed > last:
                    last = passed
                    yield f"t {passed}\n"
            last = tick
        yield command


def run_live(session: Session, firmware: Firmware, sink: Sink, speed: float, seconds: float) -> int:
    """Plays until the session ends, or for `seconds` of it (0: all); returns the bytes sent."""
    clock_hz = GAMES[session.game].clock_hz
    commands = commands_of(session, firmware)
    if seconds:
        commands = _first(commands, int(seconds * clock_hz))
    sent = 0
    with subprocess.Popen(
        firmware.command(session.board, nonce_of(session)), stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as console:
        assert console.stdin is not None and console.stdout is not None

        def forward() -> None:
            nonlocal sent
            while piece := console.stdout.read1(4096):  # type: ignore[union-attr]
                sent += len(piece)
                sink(piece)

        listener = threading.Thread(target=forward, daemon=True)
        listener.start()
        try:
            for command in paced(commands, clock_hz, speed):
                console.stdin.write(command.encode())
                console.stdin.flush()
        finally:
            console.stdin.close()
            listener.join()
    return sent


def _first(commands: list[str], ticks: int) -> list[str]:
    kept = []
    for command in commands:
        words = command.split()
        if words[0] != "r" and int(words[1]) > ticks:
            break
        kept.append(command)
    return [*kept, f"t {ticks}\n"] if kept and kept[-1][0] != "r" else kept


@contextmanager
def sink_to(where: str) -> Iterator[Sink]:
    """What takes the bytes: `pty`, `tcp:PORT`, or the path of a file that is made anew."""
    if where == "pty":
        yield from _to_pty()
    elif where.startswith("tcp:"):
        with socket.create_server(("127.0.0.1", int(where[4:]))) as server:
            print(f"waiting at socket://127.0.0.1:{server.getsockname()[1]}", flush=True)
            connection, _ = server.accept()
            with connection:
                yield connection.sendall
    else:
        with Path(where).open("wb") as file:
            yield _flushed(file)


def _flushed(file: BinaryIO) -> Sink:
    def take(piece: bytes) -> None:
        file.write(piece)
        file.flush()

    return take


def _to_pty() -> Iterator[Sink]:
    import os
    import pty  # there is none on Windows
    import tty

    ours, theirs = pty.openpty()
    name = os.ttyname(theirs)
    os.close(theirs)
    print(name, flush=True)
    while _nobody_listens(ours):
        time.sleep(STEP_S)
    # Opened here as well: the session must not end when the listener lets go for a moment.
    theirs = os.open(name, os.O_RDWR | os.O_NOCTTY)
    tty.setraw(theirs)

    def take(piece: bytes) -> None:
        while piece:
            piece = piece[os.write(ours, piece) :]

    try:
        yield take
        patience = time.monotonic() + 10
        while _unread(theirs) and time.monotonic() < patience:
            time.sleep(STEP_S)
        time.sleep(0.2)
    finally:
        os.close(theirs)
        os.close(ours)


def _nobody_listens(terminal: int) -> bool:
    """True while the other end of a pseudo-terminal is closed."""
    import select

    watch = select.poll()
    watch.register(terminal, 0)
    return any(event & select.POLLHUP for _, event in watch.poll(0))


def _unread(terminal: int) -> int:
    """Bytes that wait for the reader; a terminal that closes would throw them away."""
    import array
    import fcntl
    import termios

    waiting = array.array("i", [0])
    fcntl.ioctl(terminal, termios.FIONREAD, waiting)
    return waiting[0]


def main() -> int:
    """Exit code 0 when the session ended, 2 when it could not begin."""
    names = [session.name for session in SESSIONS]
    parser = argparse.ArgumentParser(prog="python -m demo_logs.simulator.live", description=__doc__)
    parser.add_argument("into", help="pty, tcp:PORT, or a file")
    parser.add_argument("--session", choices=names, default="soot_wardens_b_table1")
    parser.add_argument("--speed", type=float, default=1.0, help="times real time; 0 does not wait")
    parser.add_argument("--seconds", type=float, default=0.0, help="of the session; 0: all of it")
    parser.add_argument("--tuned", type=Path, help="folder with the game's tuned header, instead of the session's own")
    chosen = parser.parse_args()
    if chosen.into == "pty" and sys.platform == "win32":
        parser.error("there are no pseudo-terminals on Windows; take tcp:PORT or a file")
    # Live, a console is switched on when it begins.
    session = replace(SESSIONS[names.index(chosen.session)], on_since_s=0)
    with tempfile.TemporaryDirectory(prefix="lantern_") as scratch:
        try:
            firmware = build(session.game, chosen.tuned or TUNED[session.build], Path(scratch))
        except RuntimeError as error:
            print(error, file=sys.stderr)
            return 2
        with sink_to(chosen.into) as sink:
            sent = run_live(session, firmware, sink, chosen.speed, chosen.seconds)
    print(f"{sent} bytes sent", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
