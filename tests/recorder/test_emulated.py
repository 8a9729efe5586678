"""The examples on emulated boards send, byte for byte, what the same games send on the PC; and the recorder's sizes."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tests import reference
from tests.needs import need
from tests.recorder import native
from tests.recorder.cores import AVR, CORES, EXAMPLES, LANTERN, M4, RV32, Core, firmware, played_on_the_pc, sizes

pytestmark = pytest.mark.board

GAMES = ("damp_cellars", "pan_lids")
PORTS = EXAMPLES / "ports"
BOARD = Path(__file__).parent / "board"


@pytest.fixture(scope="module", params=GAMES)
def played(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, bytes]:
    """A game, and what it sends on the PC."""
    sent = played_on_the_pc(tmp_path_factory.mktemp("pc"), request.param, LANTERN / "pc_port.c")
    assert len(reference.decode(sent).events) > 400
    return request.param, sent


def emulated(folder: Path, emulator: str, package: str, *words: str) -> None:
    need(shutil.which(emulator), f"{emulator} is not installed (package {package})")
    subprocess.run([emulator, "-display", "none", "-semihosting", *words], cwd=folder, check=True, timeout=200)


def test_an_avr_with_2_kb_of_ram(played: tuple[str, bytes], tmp_path: Path) -> None:
    """In simavr, by the interrupt of its USART. An eighth of the RAM is left, which the stack must not reach."""
    game, sent = played
    elf = firmware(AVR, tmp_path, game, PORTS / "avr_uart.c", LANTERN / "avr.c")
    need(shutil.which("simavr"), "simavr is not installed (package simavr)")
    simulator, out = tmp_path / "simavr", tmp_path / "sent"
    build = [native.compiler(), "-O1", str(LANTERN / "simavr.c"), "-l:libsimavr.so.2", "-o", str(simulator)]
    subprocess.run(build, check=True)
    subprocess.run([str(simulator), str(elf), str(out)], check=True, timeout=200, stdout=subprocess.DEVNULL)
    assert out.read_bytes() == sent
    said = subprocess.run(["avr-size", str(elf)], capture_output=True, text=True, check=True).stdout
    _, data, bss = map(int, said.splitlines()[1].split()[:3])
    assert data + bss < 2048 - 256


def test_a_risc_v(played: tuple[str, bytes], tmp_path: Path) -> None:
    """In QEMU's FE310, by the interrupt of its UART."""
    game, sent = played
    script = f"-T{LANTERN / 'fe310.ld'}"
    elf = firmware(RV32, tmp_path, game, PORTS / "riscv_uart.c", LANTERN / "riscv.c", "-nostartfiles", script)
    words = ("-M", "sifive_e", "-monitor", "none", "-serial", "file:sent", "-kernel", str(elf))
    emulated(tmp_path, "qemu-system-riscv32", "qemu-system-misc", *words)
    assert (tmp_path / "sent").read_bytes() == sent


def test_semihosting(played: tuple[str, bytes], tmp_path: Path) -> None:
    """In QEMU's Cortex-M4: the file that the console writes on the PC."""
    game, sent = played
    linking = ("-nostartfiles", "-specs=nano.specs", f"-T{BOARD / 'an386.ld'}", "-Wl,-e,reset,--no-warn-rwx-segments")
    board = (LANTERN / "arm.c", BOARD / "board.c", f"-I{BOARD}", "-Wno-pedantic")
    elf = firmware(M4, tmp_path, game, PORTS / "semihosting.c", *board, *linking)
    emulated(
        tmp_path, "qemu-system-arm", "qemu-system-arm", "-M", "mps2-an386", "-monitor", "none", "-kernel", str(elf)
    )
    assert (tmp_path / "game.playlog").read_bytes() == sent


@pytest.mark.parametrize("core", CORES, ids=lambda core: core.name)
def test_sizes_are_what_the_costs_page_says(core: Core, tmp_path: Path) -> None:
    """RAM exactly; flash within 5 %, since other versions of a compiler make other code."""
    text = (native.RECORDER / "COSTS.md").read_text(encoding="utf-8")
    (row,) = re.findall(rf"^\| {re.escape(core.name)}[ ,][^|]*\| ([\d,]+) \| (\d+) \|$", text, re.MULTILINE)
    flash, ram = sizes(core, tmp_path)
    assert ram == int(row[1])
    assert flash == pytest.approx(int(row[0].replace(",", "")), rel=0.05)
