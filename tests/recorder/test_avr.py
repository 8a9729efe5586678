"""The recorder on an AVR: the dictionary stays in flash, and no index is read or written by halves.

`board/avr.c` runs in simavr on an ATmega1284P: a timer's interrupt logs while the main loop logs and polls.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tests import reference
from tests.needs import need
from tests.recorder.native import RECORDER

pytestmark = pytest.mark.board

BOARD = Path(__file__).parent / "board"
PLAYLOG = RECORDER / "playlog.c"


def firmware(folder: Path, *defines: str, recorder: Path = PLAYLOG) -> Path:
    need(shutil.which("avr-gcc"), "avr-gcc is not installed (packages gcc-avr and avr-libc)")
    elf = folder / "game.elf"
    command = ["avr-gcc", "-mmcu=atmega1284p", "-Os", "-std=gnu99", "-Wall", "-Wextra", "-Wconversion", "-Werror"]
    done = subprocess.run(
        [*command, f"-I{RECORDER}", *(f"-D{d}" for d in defines), str(BOARD / "avr.c"), str(recorder), "-o", str(elf)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return elf


def played(elf: Path) -> tuple[int, int, bytes]:
    """Events that the interrupt logged, events that were dropped, and the bytes that were sent."""
    need(shutil.which("simavr"), "simavr is not installed (package simavr)")
    done = subprocess.run(
        ["simavr", "-m", "atmega1284p", "-f", "16000000", str(elf)], capture_output=True, timeout=100, check=False
    )
    said = re.sub(r"\x1b\[\d*m", "", (done.stdout + done.stderr).decode("latin-1"))
    lines = re.findall(r"^([0-9A-F]+)\.?$", said, re.MULTILINE)
    assert lines, said[-500:]
    return int(lines[0][:4], 16), int(lines[0][4:8], 16), bytes.fromhex("".join(lines[1:]))


@pytest.mark.parametrize("defines", [(), ("BY_POLLING",)], ids=["by interrupt", "by polling"])
def test_every_event_arrives_once_and_in_order(defines: tuple[str, ...], tmp_path: Path) -> None:
    buttons, dropped, sent = played(firmware(tmp_path, *defines))
    log = reference.decode(sent)
    assert not log.rejected and not log.gaps and not log.unread and not dropped
    at = [e.fields["y"] for e in log.events if e.kind == "at"]
    assert at == list(range(300))
    assert sum(e.kind == "button" for e in log.events) == buttons > 300
    ticks = [e.tick for e in log.events]
    assert ticks == sorted(ticks) and [up.nonce for up in log.power_ups] == [42]


def test_the_dictionary_stays_in_flash(tmp_path: Path) -> None:
    """avr-gcc puts RAM at 0x800000 and above; a constant that is not told to stay in flash is copied there."""
    elf = firmware(tmp_path)
    said = subprocess.run(["avr-nm", str(elf)], capture_output=True, text=True, check=True).stdout
    (address,) = re.findall(r"^(\w+) \w schema_text$", said, re.MULTILINE)
    assert int(address, 16) < 0x800000
