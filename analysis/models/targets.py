"""What the designers want: outcome, population, figure, tolerance. target_file.py reads it from TOML."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from ingest.vocabulary import Recruitment


class Outcome(StrEnum):
    """What is counted or measured on a run or a player."""

    REACH_STAGE = "reach_stage"
    FINISH = "finish"
    FINISH_WITHIN = "finish_within"
    SURVIVE = "survive"
    HIT_SHARE = "hit_share"
    STREAK = "streak"
    LEVEL_REACHED = "level_reached"
    QUIT_SHARE = "quit_share"
    RUN_LENGTH = "run_length"


class Population(StrEnum):
    """Whose figure it is; all of them are players who are not the game's makers."""

    FIRST_ATTEMPT = "first_attempt"
    NEW_PLAYERS = "new_players"
    ATTEMPT = "attempt"


class Aim(StrEnum):
    """On which side of the figure a miss is a miss."""

    ABOUT = "about"
    AT_LEAST = "at_least"
    AT_MOST = "at_most"


class Statistic(StrEnum):
    """How runs or players become one figure."""

    SHARE = "share"
    MEAN = "mean"
    MEDIAN = "median"
    QUANTILE = "quantile"


@dataclass(frozen=True)
class Target:
    """One wish. `wanted` and `tolerance` are shares from 0 to 1, or `unit` where the figure is counted.

    number: the n of the outcome (stage, attempts, seconds, length, level), or None.
    attempts: how many attempts a player of NEW_PLAYERS gets; attempt: which one, for ATTEMPT (1 otherwise).
    quantile: share of players (or runs) below the figure, for MEDIAN and QUANTILE.
    """

    name: str
    outcome: Outcome
    wanted: float
    tolerance: float
    weight: float = 1.0
    aim: Aim = Aim.ABOUT
    population: Population = Population.FIRST_ATTEMPT
    attempt: int = 1
    attempts: int = 1
    number: float | None = None
    boss: bool = False
    song: int | None = None
    statistic: Statistic = Statistic.SHARE
    quantile: float | None = None
    unit: str = "share"

    def miss(self, figure: Any) -> Any:
        """How far `figure` (a number or an array) is from the wish, in the target's unit; never negative."""
        distance = figure - self.wanted
        match self.aim:
            case Aim.AT_LEAST:
                return (abs(distance) - distance) / 2
            case Aim.AT_MOST:
                return (abs(distance) + distance) / 2
        return abs(distance)


@dataclass(frozen=True)
class Changeable:
    """What may be changed. Names are tunables' names or roles; `ranges` narrow what the firmware declares."""

    allowed: tuple[str, ...] = ()
    frozen: tuple[str, ...] = ()
    ranges: Mapping[str, tuple[int, int]] = field(default_factory=dict)

    def allows(self, tunable: str, role: str | None) -> bool:
        """May this tunable be changed? With nothing in `allowed`, every one may that is not frozen."""
        names = {tunable, role} - {None}
        return (not self.allowed or bool(names & set(self.allowed))) and not names & set(self.frozen)

    def range(self, tunable: str, role: str | None, low: int, high: int) -> tuple[int, int]:
        """The firmware's range narrowed by the designers'; the tunable's own name goes before its role."""
        own = self.ranges.get(tunable) or (self.ranges.get(role) if role else None)
        return (low, high) if own is None else (max(low, own[0]), min(high, own[1]))


@dataclass(frozen=True)
class TargetSet:
    """All that a targets file says. `game` None: the only game of the study. testers None: it does not say."""

    targets: tuple[Target, ...]
    changeable: Changeable = Changeable()
    game: str | None = None
    runs_each: int | None = None
    testers: Recruitment | None = None


def attempts_of(target: Target) -> range:
    """Which attempts of a player a target is about."""
    if target.population == Population.ATTEMPT:
        return range(target.attempt, target.attempt + 1)
    return range(1, (target.attempts if target.population == Population.NEW_PLAYERS else 1) + 1)


def describe(target: Target) -> str:
    """The target in words, without the figure: its name where the file gives none."""
    n = "" if target.number is None else f"{target.number:g}"
    who = {Population.FIRST_ATTEMPT: "on the first attempt", Population.NEW_PLAYERS: "among new players"}.get(
        target.population, f"on attempt {target.attempt}"
    )
    what = {
        Outcome.REACH_STAGE: f"reach {'the boss of ' if target.boss else ''}stage {n}",
        Outcome.FINISH: "finish",
        Outcome.FINISH_WITHIN: f"finish within {n} attempts",
        Outcome.SURVIVE: f"survive {n} s",
        Outcome.HIT_SHARE: "hit share" + ("" if target.song is None else f" of song {target.song}"),
        Outcome.STREAK: f"streak of {n} or more" if n else "streak until the first miss",
        Outcome.LEVEL_REACHED: f"reach level {n}" if n else "level at the end",
        Outcome.QUIT_SHARE: "quit",
        Outcome.RUN_LENGTH: "seconds alive in a run",
    }[target.outcome]
    if target.statistic == Statistic.QUANTILE:
        what += f", {100 * (target.quantile or 0):g} % quantile"
    elif target.statistic != Statistic.SHARE:
        what += f", {target.statistic}"
    if target.attempts > 1 and target.outcome != Outcome.FINISH_WITHIN:
        what += f" within {target.attempts} attempts"
    return f"{what} {who}"
