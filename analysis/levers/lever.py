"""What a lever is: a role of a tunable whose effect on the game is known, and what of it is assumed.

A value acts in one of three ways. A `PolicyLever` sets a rule of the outcome chain; its effect needs no prior. A
`DoseLever` turns the value into a dose, and what one unit of the dose does to ln deaths a second, ln clear time and so
on is a coefficient with a normal prior, fitted where that can be. An `EdgeLever` moves the edges of the window in which
a rhythm game counts a press.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from analysis.words import percent
from ingest.vocabulary import TunableRole

# Less of a prior's variance settled by the play than this is nothing to speak of; from a half on the data say more
# than the prior. Common practice, no source.
_NOTHING, _HALF = 0.1, 0.5


@dataclass(frozen=True)
class Prior:
    """A normal prior, and where it comes from."""

    mean: float
    sd: float
    source: str


class Part(StrEnum):
    """What a game may hold; several at once are possible."""

    STAGED = "a game in stages, with enemies who fire"
    BLOCKS = "falling blocks"
    TRIALS = "single shots at a target"
    NOTES = "notes to be hit in time"


class Rule(StrEnum):
    """The rules of the outcome chain that a policy can set."""

    START_LIVES = "start_lives"  # lives at the start of a run
    REFILL = "refill"  # on entering a stage: 0 nothing, 1 one more life, 2 up to the lives at the start
    KEEP_TIER = "keep_tier"  # chance that a death costs no tier


@dataclass(frozen=True)
class Lever:
    """One role. Its module says the rest.

    units: those the log may declare it in (FORMAT.md, section 6); none: the game's own. easier: 1 where a larger value
    lets more players get there, -1 where fewer, 0 where that hangs on the players. part: what a game must hold for it
    to turn anything; None: any game does. least, most: values beyond mean nothing to the game, whatever the firmware
    can hold. by_ratio: the effect goes with the logarithm of the value, so that several tunables of the role are scaled
    together. in_combination: values are few, so that several tunables are tried in every combination.
    more, less: what a larger and a smaller value asks for, in words, with {value}, {unit} and {part} ("a third"): by so
    much the value changes, or the rate where `rate` says that the value is the time between two. by_value: the same
    for values that mean something of their own.
    """

    role: TunableRole
    units: tuple[str, ...]
    easier: int
    part: Part | None = None
    least: int | None = None
    most: int | None = None
    by_ratio: bool = False
    in_combination: bool = False
    more: str = ""
    less: str = ""
    rate: bool = False
    by_value: Mapping[int, str] = field(default_factory=dict)

    def limits(self, low: int, high: int) -> tuple[int, int]:
        """`low` to `high`, as far as it means something to the game."""
        return (
            low if self.least is None else max(self.least, low),
            high if self.most is None else min(self.most, high),
        )

    def carried_by(self, settled: float | None, seen: str = "") -> str:
        """What its predicted effect rests on.

        settled: the share of its prior's variance that the play took away; None: no fit. seen: what was counted.
        """
        raise NotImplementedError


@dataclass(frozen=True)
class PolicyLever(Lever):
    """Sets a rule of the outcome chain: `of` makes it from the values in force in one place."""

    rule: Rule = Rule.START_LIVES
    of: Callable[[Sequence[int]], float] = max

    def carried_by(self, settled: float | None, seen: str = "") -> str:
        return "data: the deaths and times seen in each segment, through the rules of the game"


@dataclass(frozen=True)
class DoseLever(Lever):
    """Acts through a dose: `of` makes it from the values in force in one place; where none is, it is `absent`.

    deaths, times, success: priors of what one unit of the dose adds to ln deaths a second alive, ln clear time, and the
    logit of a shot's success; they are fitted. rises: the same for ln tier rises a second; it is not fitted.
    in_levels: only in games played in levels (True), only in others (False), in both (None).
    each_logged: every trial logs its own value, in the field role `speed`.
    what: the quantity, and `played` one of it, in words; symbol: its coefficient's. under: other priors of the fitted
    effect that somebody might hold, by the words for it.
    """

    of: Callable[[Sequence[int]], float] = max
    absent: float = 0.0
    deaths: Prior | None = None
    times: Prior | None = None
    rises: Prior | None = None
    success: Prior | None = None
    in_levels: bool | None = None
    each_logged: bool = False
    what: str = ""
    played: str = ""
    symbol: str = ""
    under: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    def carried_by(self, settled: float | None, seen: str = "") -> str:
        if settled is None or settled < _NOTHING:
            return (
                "prior: what was played says next to nothing of how strongly it acts, so that is assumed, not "
                f"measured; runs with another {self.played} would tell"
            )
        which = "prior" if settled < _HALF else "data"
        return f"{which} mostly: the play has settled {percent(settled)} of what was uncertain beforehand"

    def factor(self) -> str:
        """Its place among the factors of the deaths a second; for those that act by ratio."""
        return f"({self.what})^{self.symbol}"

    def assumed(self, mean: float, sd: float) -> str:
        """The prior in use, in words."""
        if self.by_ratio:
            return f"{self.symbol} ~ N({mean:g}, {sd:g})"
        return f"{self.what}: ln hazard + N({mean:g}, {sd:g})"


@dataclass(frozen=True)
class EdgeLever(Lever):
    """Moves the window in which a press counts: what one microsecond of it adds to the early and to the late edge.

    Edges are on the scale of press - due."""

    early_edge: int = 0
    late_edge: int = 0

    def carried_by(self, settled: float | None, seen: str = "") -> str:
        return f"data: {seen}, inside and outside the window"


def first(values: Sequence[int]) -> float:
    """Of several of one role in one place, the one declared first."""
    return float(values[0])


def mean(values: Sequence[int]) -> float:
    """Of several of one role in one place, their mean."""
    return sum(values) / len(values)
