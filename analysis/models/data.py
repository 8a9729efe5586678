"""What the tuning is fitted to: plain arrays of one game, counted by player, and its builds."""

from dataclasses import dataclass, field

import numpy as np

from ingest.vocabulary import TunableRole

ENDINGS = ("finished", "game_over", "quit", "cut")


@dataclass(frozen=True)
class Tunable:
    """A named constant of the game as the log declares it; None in a scope: it holds everywhere."""

    name: str
    role: TunableRole | None
    value: int
    low: int
    high: int
    step: int
    unit: str = ""
    stage: int | None = None
    stage_kind: int | None = None
    song: int | None = None
    level: int | None = None
    grade: int | None = None

    @property
    def holdable(self) -> range:
        """Every value the firmware can hold."""
        return range(self.low, self.high + 1, max(1, self.step))

    @property
    def narrowness(self) -> int:
        """How many scopes narrow it: of two that apply, the narrower one holds."""
        return sum(scope is not None for scope in (self.stage, self.stage_kind, self.song, self.level, self.grade))


@dataclass(frozen=True)
class Build:
    """A firmware and the values of its tunables."""

    label: str
    firmware: str
    tunables: tuple[Tunable, ...]


@dataclass(frozen=True, order=True)
class Segment:
    """A part of a run with a hazard of its own: a stage's regular part or boss, or a level."""

    number: int
    boss: int = 0
    is_level: bool = False

    @property
    def name(self) -> str:
        if self.is_level:
            return f"level {self.number}"
        return f"the boss of stage {self.number}" if self.boss else f"stage {self.number}"


@dataclass(frozen=True)
class Runs:
    """One row a run. `furthest` is the index of the last segment entered; `last` the player's last run."""

    player: np.ndarray
    attempt: np.ndarray
    build: np.ndarray
    ending: np.ndarray  # index into ENDINGS
    furthest: np.ndarray
    alive_s: np.ndarray
    deaths: np.ndarray
    experienced: np.ndarray  # bool: known to have played before this study
    last: np.ndarray  # bool
    died_twice_here: np.ndarray  # bool: the last two deaths of the run were in one segment
    damaged: np.ndarray  # bool

    @property
    def count(self) -> int:
        return len(self.player)


@dataclass(frozen=True)
class Cells:
    """Time alive and deaths, added up over what the hazard depends on. One row a combination."""

    player: np.ndarray
    attempt: np.ndarray
    build: np.ndarray
    segment: np.ndarray
    tier: np.ndarray
    experienced: np.ndarray
    again: np.ndarray  # bool: the player has died in this segment already in this run
    alive_s: np.ndarray
    deaths: np.ndarray
    age: np.ndarray  # of the life in the segment, in parts of `usual_s`; 1 throughout: not known


@dataclass(frozen=True)
class Visits:
    """One row a passage through a segment; `cleared` False: it was broken off after `alive_s`."""

    player: np.ndarray
    build: np.ndarray
    segment: np.ndarray
    tier: np.ndarray  # mean over the time alive
    alive_s: np.ndarray
    cleared: np.ndarray


@dataclass(frozen=True)
class Counts:
    """Small counts: tier rises and the seconds in which one could happen, by segment; quits by kind of death."""

    rises: np.ndarray
    rise_s: np.ndarray
    tier_kept: tuple[int, int]  # deaths at a tier above 0 that cost no tier, and all of them
    quits: np.ndarray  # after a first death in the segment, after a repeated one
    quit_chances: np.ndarray
    stops: np.ndarray  # gave up after a failed run: (2, failures so far), plain and after repeated deaths in a segment
    stop_chances: np.ndarray
    leaves: float  # quits between deaths
    alive_s: float


@dataclass(frozen=True)
class StagedData:
    """A game played in segments with lives: the staged shooter, and the falling blocks with one life."""

    game: str
    segments: tuple[Segment, ...]
    players: tuple[str, ...]
    builds: tuple[Build, ...]
    current: int
    runs: Runs
    cells: Cells
    visits: Visits
    counts: Counts
    start_tier: int
    tiers: int
    finish_known: bool  # somebody finished, so the last segment is the game's last
    lives_seen: int  # deaths that ended a run, where no tunable says
    restarts: bool = False  # a death throws back to the stage's start
    more_stages: bool = True  # a stage after the last one may be there: stages are logged, and nobody has finished
    ends_logged: bool = True  # the game can log how a run ends
    usual_s: np.ndarray = field(default_factory=lambda: np.ones(1))  # (segments,) how long each takes

    @property
    def build(self) -> Build:
        """The build whose tunables a proposal changes."""
        return self.builds[self.current]


@dataclass(frozen=True)
class TrialData:
    """A game of one shot at a time. One row a trial; the speed is relative to the tunable."""

    game: str
    players: tuple[str, ...]
    builds: tuple[Build, ...]
    current: int
    player: np.ndarray
    run: np.ndarray
    attempt: np.ndarray
    build: np.ndarray
    experienced: np.ndarray
    index: np.ndarray  # n-th trial of the run, from 0
    relative_speed: np.ndarray
    success: np.ndarray
    cut: np.ndarray | None = None  # bool: the trial's run was cut; None: none was

    @property
    def build_now(self) -> Build:
        return self.builds[self.current]
