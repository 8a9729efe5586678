"""The game's log as the console would write it: compiles a demo game's log with the real C recorder and runs it."""

import os
import shutil
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from demo_logs.simulator.play import Event
from ingest.wire.dictionary import Dictionary
from ingest.wire.dictionary_text import parse

GAMES = Path(__file__).parent / "games"
RECORDER = Path(__file__).parents[2] / "ingest" / "recorder"


class NoCompiler(RuntimeError):
    """There is no C compiler; the message says how to name one."""


@dataclass(frozen=True)
class Board:
    """The console's board as far as the log feels it: ring in bytes, line in baud; fifo 0 is TX by interrupt."""

    ring: int = 1024
    baud: int = 115_200
    fifo: int = 0


@dataclass(frozen=True)
class Firmware:
    """A demo game compiled with its tuned values, ready to run."""

    program: Path
    dictionary: Dictionary
    values: dict[str, int]

    def command(self, board: Board, nonce: int) -> list[str]:
        """The words that start it as a console that was just switched on."""
        return [str(self.program), "play", *map(str, (board.ring, board.baud, board.fifo, nonce))]

    def lines(self, events: Iterable[Event]) -> Iterable[str]:
        """The commands that make it log `events`; raises KeyError for a kind or field that the game does not have."""
        for tick, name, values in events:
            number, fields = self._layout(name)
            words = [tick, number, *(values[f] for f in fields)]
            yield f"e {' '.join(map(str, words))}\n"

    def _layout(self, name: str) -> tuple[int, list[str]]:
        number = next(n for n, kind in enumerate(self.dictionary.kinds) if kind.name == name)
        return number, [f.name for f in self.dictionary.kinds[number].fields]

    def run(self, commands: Iterable[str], board: Board, nonce: int) -> bytes:
        """The bytes on the line after all commands; raises RuntimeError with what the program said."""
        done = subprocess.run(
            self.command(board, nonce), input="".join(commands).encode(), capture_output=True, check=False
        )
        if done.returncode:
            raise RuntimeError(done.stderr.decode(errors="replace").strip())
        return done.stdout


def compiler() -> str | None:
    """The C compiler: the one named by the environment variable CC, or the first usual one that is there."""
    return next(
        (found for name in (os.environ.get("CC", ""), "cc", "gcc", "clang") if (found := shutil.which(name))), None
    )


def build(game: str, tuned: Path | None, folder: Path) -> Firmware:
    """Compiles `game` into `folder`. `tuned`: a folder with its tuned header, before the untuned one.

    Raises NoCompiler, or RuntimeError with what the compiler said.
    """
    cc = compiler()
    if cc is None:
        raise NoCompiler("no C compiler found; install gcc or clang, or name one in the environment variable CC")
    program = folder / f"{game}_{tuned.name if tuned else 'untuned'}{'.exe' if sys.platform == 'win32' else ''}"
    includes = [RECORDER, GAMES, *([tuned] if tuned else []), GAMES / "untuned"]
    made = subprocess.run(
        [
            cc,
            "-std=c99",
            "-O1",
            f"-DGAME_HEADER=<{game}.h>",
            *(f"-I{path}" for path in includes),
            str(GAMES / "console.c"),
            str(RECORDER / "playlog.c"),
            "-o",
            str(program),
        ],
        capture_output=True,
        encoding="utf-8",
        errors="replace",
        check=False,
    )
    if made.returncode:
        raise RuntimeError(made.stderr.strip())
    said = subprocess.run([str(program), "describe"], capture_output=True, check=True).stdout.replace(b"\r\n", b"\n")
    text, _, numbers = said.partition(b"\nvalue ")
    values = [int(n) for n in numbers.split(b"\nvalue ")] if numbers else []
    dictionary = parse(text + b"\n")
    return Firmware(program, dictionary, dict(zip((t.name for t in dictionary.tunables), values, strict=True)))
