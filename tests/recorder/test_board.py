"""The recorder in real firmware on an emulated board: SysTick, the UART and its interrupt, an end-to-end capture.

`board/game.c` runs on QEMU's mps2-an386 and, with `board/host.c` instead of the board, on the PC. What it logs follows
from the time alone, so that every event and every byte is known.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from ingest.capture.captures import Captures
from tests import reference
from tests.needs import need
from tests.recorder import native, thumb

pytestmark = pytest.mark.board

BOARD = Path(__file__).parent / "board"
PLAYLOG = native.RECORDER / "playlog.c"
FRAME_MS, FRAMES_PER_RUN, FIRST_FRAME = 20, 100, 51


def firmware(folder: Path, *defines: str, recorder: Path = PLAYLOG) -> Path:
    """The game, linked for the board."""
    thumb.need_arm()
    need(shutil.which("qemu-system-arm"), "qemu-system-arm is not installed (package qemu-system-arm)")
    elf = folder / "game.elf"
    thumb.tool(
        "gcc",
        *thumb.FLAGS,
        f"-I{native.RECORDER}",
        f"-I{BOARD}",
        *(f"-D{d}" for d in defines),
        BOARD / "board.c",
        BOARD / "game.c",
        recorder,
        "-nostartfiles",
        "-specs=nano.specs",
        # Without the name of its entry the linker makes an empty file and is content with it.
        f"-T{BOARD / 'an386.ld'}",
        "-Wl,-e,reset,--no-warn-rwx-segments",
        "-o",
        elf,
    )
    assert thumb.section_bytes(elf)["text"] > 1000
    return elf


def emulator(elf: Path, *more: str) -> list[str]:
    # A fixed time an instruction: the same run every time, and a console that does not wait for the wall clock.
    return [
        "qemu-system-arm",
        "-M",
        "mps2-an386",
        "-display",
        "none",
        "-semihosting",
        "-icount",
        "shift=6,align=off,sleep=off",
        "-kernel",
        str(elf),
        *more,
    ]


def on_the_pc(folder: Path, *defines: str) -> bytes:
    """What the same game sends where the board is host.c, under sanitizers."""
    program = folder / "host"
    done = subprocess.run(
        [
            native.compiler(),
            "-std=c99",
            *native.SANITIZERS,
            f"-I{native.RECORDER}",
            f"-I{BOARD}",
            *(f"-D{d}" for d in defines),
            *map(str, (BOARD / "host.c", BOARD / "game.c", PLAYLOG)),
            "-o",
            str(program),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return subprocess.run([str(program)], capture_output=True, check=True).stdout


def on_the_board(folder: Path, elf: Path) -> bytes:
    """What the emulated UART sent."""
    sent = folder / "board.playlog"
    subprocess.run(
        emulator(elf, "-monitor", "none", "-serial", f"file:{sent}"), check=True, timeout=200, capture_output=True
    )
    return sent.read_bytes()


def expected_events(runs: int, first_tick: int = 0) -> list[tuple[int, str, dict[str, int]]]:
    """game.c again, as a list."""
    events: list[tuple[int, str, dict[str, int]]] = []
    frame = FIRST_FRAME
    for run in range(1, runs + 1):
        first, after = frame, frame + FRAMES_PER_RUN
        for now in range(first * FRAME_MS, after * FRAME_MS + 1):
            # SysTick logs first, and not at the tick of `begin`, which comes after it.
            if now % 7 == 0 and now > first * FRAME_MS:
                events.append((now, "button", {"which": now % 3, "ago": now % 5}))
            if now % FRAME_MS:
                continue
            frame = now // FRAME_MS
            if frame == first:
                events.append((now, "begin", {"who": run}))
            if frame == after:
                events.append((now, "over", {"how": run}))
                break
            events.append((now, "at", {"x": frame * 3 % 255, "y": -frame}))
            if frame % 25 == 0:
                events.append((now, "fell", {"score": frame * frame}))
        frame = after + 1
    return [(now + first_tick, kind, fields) for now, kind, fields in events]


@pytest.mark.parametrize(
    "defines",
    [("RUNS=4",), ("RUNS=2", "BY_POLLING"), ("RUNS=2", "FIRST_TICK=0xFFFFF800u")],
    ids=["by interrupt", "by polling", "across the wrap of the clock"],
)
def test_the_board_sends_bit_for_bit_what_the_pc_sends(defines: tuple[str, ...], tmp_path: Path) -> None:
    sent = on_the_board(tmp_path, firmware(tmp_path, *defines))
    assert sent == on_the_pc(tmp_path, *defines)
    log = reference.decode(sent)
    first_tick = 0xFFFFF800 if len(defines) > 1 and "FIRST" in defines[1] else 0
    assert [(e.tick, e.kind, e.fields) for e in log.events] == expected_events(int(defines[0][-1]), first_tick)
    assert not log.drops and not log.gaps and not log.rejected and not log.tail_bytes
    assert [up.nonce for up in log.power_ups] == [42]


def test_a_recorder_that_does_not_prime_the_transmitter_stays_silent(tmp_path: Path) -> None:
    """The board shows it: its transmitter's interrupt never comes from cold."""
    source = PLAYLOG.read_text(encoding="utf-8")
    prime = "            port->send((uint8_t)byte);\n            port->enable"
    assert source.count(prime) == 1
    planted = tmp_path / "playlog.c"
    planted.write_text(source.replace(prime, "            port->enable"), encoding="utf-8")
    assert on_the_board(tmp_path, firmware(tmp_path, "RUNS=1", recorder=planted)) == b""


def capture(folder: Path, source: str, begin: Callable[[], None], length: int) -> bytes:
    """What the capture kept of a source, with the tags P05 and P06 bound to its two runs."""
    captures = Captures(folder)
    name = captures.start(source)
    for tag in ("P05", "P06"):
        captures.next_player(name, tag)
    begin()
    until = time.monotonic() + 60
    while captures.status(name).bytes < length and time.monotonic() < until:
        time.sleep(0.05)
    captures.stop(name)
    status = captures.status(name)
    assert status.counts.runs == 2
    assert status.player == "P06" and not status.waiting
    return status.path.read_bytes()


def test_end_to_end_through_a_socket(tmp_path: Path) -> None:
    """Board, socket, capture: every byte, and each run has its player's tag.

    The board waits until the tags are said. Its time does not wait for a reader: what is not read yet has to fit the
    socket, or the console rightly drops events. A Unix socket is full of 300 bytes that come one by one.
    """
    expected = on_the_pc(tmp_path, "RUNS=2")
    command = emulator(
        firmware(tmp_path, "RUNS=2"), "-S", "-monitor", "stdio", "-serial", "tcp:127.0.0.1:0,server=on,wait=on"
    )
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as process:
        assert process.stdin and process.stdout
        try:
            told = ""
            while not (port := re.search(r"tcp:127\.0\.0\.1:([1-9]\d*)", told)):
                line = process.stdout.readline()
                assert line, told
                told += line

            def begin() -> None:
                assert process.stdin
                process.stdin.write("cont\n")
                process.stdin.flush()

            source = f"tcp:127.0.0.1:{port.group(1)}"
            assert capture(tmp_path / "kept", source, begin, len(expected)) == expected
        finally:
            process.kill()


def test_end_to_end_through_a_serial_port(tmp_path: Path) -> None:
    """As a serial port that the operating system has: a pseudo terminal, into which the emulator writes."""
    expected = on_the_pc(tmp_path, "RUNS=2")
    command = emulator(firmware(tmp_path, "RUNS=2"), "-monitor", "none", "-serial", "stdio")
    ours, theirs = os.openpty()
    boards: list[subprocess.Popen[bytes]] = []

    def begin() -> None:
        boards.append(subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=ours))

    try:
        assert capture(tmp_path / "kept", os.ttyname(theirs), begin, len(expected)) == expected
    finally:
        for board in boards:
            board.kill()
            board.wait()
        os.close(ours)
        os.close(theirs)
