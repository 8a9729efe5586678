"""The processors that the recorder is compiled for: their compilers and what these are told."""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

from tests.needs import need
from tests.recorder.native import RECORDER, SANITIZERS, compiler

EXAMPLES = RECORDER / "examples"
LANTERN = Path(__file__).parent / "lantern"
STANDINS = Path(__file__).parent / "standins"
WARNINGS = ("-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Wsign-conversion", "-Wshadow", "-Werror")
INCLUDES = tuple(f"-I{folder}" for folder in (RECORDER, EXAMPLES, LANTERN, STANDINS))


@dataclass(frozen=True)
class Core:
    """A processor, the start of its tools' names, the packages that have them, and flags that choose it."""

    name: str
    tools: str
    packages: str
    flags: tuple[str, ...]

    def compile(self, *arguments: str | Path) -> None:
        """Runs the compiler, every warning an error."""
        gcc = f"{self.tools}gcc"
        need(shutil.which(gcc), f"{gcc} is not installed (packages {self.packages})")
        _run(gcc, *self.flags, "-Os", *WARNINGS, *INCLUDES, *map(str, arguments))


def firmware(core: Core, folder: Path, game: str, *more: str | Path) -> Path:
    """A game with port, console and recorder, linked for a processor. `more`: port, console, linker's flags."""
    elf = folder / f"{game}.elf"
    sources = (EXAMPLES / game / "main.c", LANTERN / "lantern.c", RECORDER / "playlog.c")
    core.compile("-std=gnu99", f"-I{EXAMPLES / game}", *sources, *more, "-o", elf)
    return elf


def sizes(core: Core, folder: Path) -> tuple[int, int]:
    """Bytes of flash that playlog.c takes, without the C library's memset and memcpy, and of RAM besides the ring."""
    recorder, memory = folder / "playlog.o", folder / "memory.o"
    (folder / "memory.c").write_text('#include "playlog.h"\nstruct playlog play;\n', encoding="utf-8")
    core.compile("-std=c99", "-c", RECORDER / "playlog.c", "-o", recorder)
    core.compile("-std=c99", "-fno-common", "-c", folder / "memory.c", "-o", memory)
    flash, ram = (_sections(core, path) for path in (recorder, memory))
    assert flash[1:] == [0, 0] and ram[:2] == [0, 0] and ram[2] > 0
    return flash[0], ram[2]


def _sections(core: Core, path: Path) -> list[int]:
    """Bytes of text, data and bss."""
    said = subprocess.run([f"{core.tools}size", str(path)], capture_output=True, text=True, check=True).stdout
    return [int(word) for word in said.splitlines()[1].split()[:3]]


def played_on_the_pc(folder: Path, game: str, *port: Path, defines: tuple[str, ...] = ()) -> bytes:
    """What a game sends through a port when it is played on this machine, under sanitizers.

    `port` are the sources that send, and that stand in for what these call.
    """
    objects: list[str] = []
    sources = (EXAMPLES / game / "main.c", LANTERN / "lantern.c", LANTERN / "pc.c", RECORDER / "playlog.c", *port)
    include = (*INCLUDES, f"-I{EXAMPLES / game}", *(f"-D{d}" for d in defines))
    for number, source in enumerate(sources):
        # C++ under sanitizers would want a C++ library of the compiler's own.
        language = ("-xc++", "-std=c++11") if source.suffix == ".cpp" else ("-std=gnu99", *SANITIZERS)
        objects.append(str(folder / f"{game}_{number}.o"))
        _run(compiler(), *language, *WARNINGS, *include, "-c", str(source), "-o", objects[-1])
    program = folder / game
    _run(compiler(), *SANITIZERS, *objects, "-o", str(program))
    return subprocess.run([str(program)], capture_output=True, check=True, timeout=60, cwd=folder).stdout


def _run(*command: str) -> None:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


_ARM = ("arm-none-eabi-", "gcc-arm-none-eabi and libnewlib-arm-none-eabi")
M0 = Core("Cortex-M0+", *_ARM, ("-mcpu=cortex-m0plus", "-mthumb"))
M4 = Core("Cortex-M4", *_ARM, ("-mcpu=cortex-m4", "-mthumb"))
AVR = Core("AVR", "avr-", "gcc-avr and avr-libc", ("-mmcu=atmega328p",))
# By the older specification control registers are part of the base, as this compiler's libraries have it.
RV32 = Core(
    "RV32IMAC",
    "riscv64-unknown-elf-",
    "gcc-riscv64-unknown-elf and picolibc-riscv64-unknown-elf",
    ("-march=rv32imac", "-misa-spec=2.2", "-mabi=ilp32", "-mcmodel=medany", "--specs=picolibc.specs"),
)
CORES = (M0, M4, AVR, RV32)
