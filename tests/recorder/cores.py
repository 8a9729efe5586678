"""The processors that the recorder is compiled for: their compilers and what these are told."""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

from tests.needs import need
from tests.recorder.native import RECORDER

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
        compiler = f"{self.tools}gcc"
        need(shutil.which(compiler), f"{compiler} is not installed (packages {self.packages})")
        command = [compiler, *self.flags, "-Os", *WARNINGS, *INCLUDES, *map(str, arguments)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr


_ARM = ("arm-none-eabi-", "gcc-arm-none-eabi and libnewlib-arm-none-eabi")
M0 = Core("Cortex-M0+", *_ARM, ("-mcpu=cortex-m0plus", "-mthumb"))
M4 = Core("Cortex-M4", *_ARM, ("-mcpu=cortex-m4", "-mthumb"))
AVR = Core("AVR", "avr-", "gcc-avr and avr-libc", ("-mmcu=atmega328p",))
CORES = (M0, M4, AVR)
