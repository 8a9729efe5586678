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
CORES = (M0, M4, AVR)
