"""Rows of runs on their way out. What rests on a life that may turn out to have been none waits until that is known."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum
from typing import Any

Row = tuple[Any, ...]
# Spells and stages that wait for one life to be settled; with more it counts as a life (FORMAT.md, section 7).
MOST_WAITING = 10_000


@dataclass
class Rows:
    """Finished rows, in the order of the columns of schema.sql; the store takes them away."""

    all_runs: list[Row] = field(default_factory=list)
    stages: list[Row] = field(default_factory=list)
    lives: list[Row] = field(default_factory=list)
    spells: list[Row] = field(default_factory=list)


@dataclass
class Ids:
    """The next free ids. `runs` gives those of runs."""

    runs: Iterator[int]
    stage: int
    life: int


class Doubt(Enum):
    """Why a life may turn out to have been none."""

    ASSUMED = "begun at a death, because the game logs no spawns"
    SIGN = "begun at a sign of life, behind a place where its spawn may have been lost"
    WEAK = "begun at a sign of life, though nothing is missing: only a death makes it one"


@dataclass(slots=True)
class Stage:
    """One visit of a stage. `doubt_us` is the part of its time alive that belongs to a life in doubt."""

    id: int
    run: int
    visit: int
    stage: int
    kind: int
    song: int | None
    start_us: int
    lives_in: int | None
    tier_in: int | None
    end_us: int = 0
    alive_us: int = 0
    deaths: int = 0
    cleared: bool | None = None
    doubt_us: int = 0

    @property
    def row(self) -> Row:
        return (
            self.id,
            self.run,
            self.visit,
            self.stage,
            self.kind,
            self.song,
            self.start_us,
            self.end_us,
            self.alive_us,
            self.cleared,
            self.deaths,
            self.lives_in,
            self.tier_in,
        )


@dataclass(slots=True)
class Life:
    """`key` is its own within the run; `number` goes to the next life where this one turns out to have been none."""

    key: int
    number: int
    start_us: int
    doubt: Doubt | None = None
    inferred: bool = False
    alive_us: int = 0


class Ledger:
    """The stages and spells of one run that are over."""

    def __init__(self, rows: Rows):
        self._rows = rows
        self.doubtful = False
        self._spells: list[Row] = []
        self._stages: list[Stage] = []

    @property
    def full(self) -> bool:
        return len(self._spells) + len(self._stages) > MOST_WAITING

    def spell(self, row: Row) -> None:
        (self._spells if self.doubtful else self._rows.spells).append(row)

    def stage(self, stage: Stage) -> None:
        if self.doubtful:
            self._stages.append(stage)
        else:
            self._rows.stages.append(stage.row)

    def settle(self) -> None:
        """The life was one."""
        self._rows.spells += self._spells
        self._rows.stages += [stage.row for stage in self._stages]
        self._spells, self._stages, self.doubtful = [], [], False

    def take_back(self) -> None:
        """The life was none: its spells go, and its time in each stage."""
        for stage in self._stages:
            stage.alive_us -= stage.doubt_us
        self._spells = []
        self.settle()
