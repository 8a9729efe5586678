"""A number with its interval, the margin of error it is made of, and the one confidence level."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Self

import numpy as np
from scipy import special

# The confidence level of every interval that names no other. Common practice, no source.
LEVEL = 0.95
# Of fewer players an interval is only indicative: see the coverage in METHODS.md. Common practice, no source.
FEW_PLAYERS = 8
# What is predicted is given with two intervals; the fields of a prediction are named by their levels.
INNER, OUTER = 0.8, 0.95
PREDICTED_QUANTILES = ((1 - OUTER) / 2, (1 - INNER) / 2, 0.5, (1 + INNER) / 2, (1 + OUTER) / 2)


@dataclass(frozen=True)
class Estimate:
    """A number with its interval by player.

    value, low and high are None where the data allow none; an interval may also be open at one end. level: of the
    interval, 0.95 for 95 %. players, runs: what it rests on, 0 where that is told elsewhere. unit: "share" is shown as
    per cent.
    """

    value: float | None
    low: float | None = None
    high: float | None = None
    level: float = LEVEL
    players: int = 0
    runs: int = 0
    unit: str = ""

    @classmethod
    def around(cls, value: float, margin: float, **rest: object) -> Self:
        """The interval of `margin` to both sides; none where the margin is NaN."""
        if np.isnan(margin):
            return cls(float(value), **rest)  # type: ignore[arg-type]
        return cls(float(value), float(value - margin), float(value + margin), **rest)  # type: ignore[arg-type]

    @classmethod
    def known(cls, value: float, low: float, high: float, unit: str = "") -> Self:
        """With limits out of arrays, where NaN is none."""
        ends = [None if np.isnan(end) else float(end) for end in (low, high)]
        return cls(float(value), ends[0], ends[1], unit=unit)

    def excludes(self, value: float) -> bool:
        """Whether the interval is closed at both ends and does not hold `value`."""
        return self.low is not None and self.high is not None and not self.low <= value <= self.high

    def times(self, factor: float, unit: str) -> "Estimate":
        """In another unit, `factor` (positive) of which make one of this."""
        return self._through(lambda x: factor * x, unit)

    def exp(self, unit: str = "times") -> "Estimate":
        """Of a logarithm, the number itself."""
        return self._through(lambda x: float(np.exp(x)), unit)

    def in_unit(self, unit: str) -> Self:
        """The same numbers, with the unit named."""
        return replace(self, unit=unit)

    def _through(self, scale: Callable[[float], float], unit: str) -> "Estimate":
        value, low, high = (None if x is None else float(scale(x)) for x in (self.value, self.low, self.high))
        return Estimate(value, low, high, self.level, self.players, self.runs, unit)


@lru_cache(maxsize=4096)
def t_critical(level: float, freedom: float) -> float:
    """Half an interval in standard errors, by Student's t with `freedom` degrees of freedom; level: 0.95 for 95 %."""
    return float(special.stdtrit(freedom, 0.5 + level / 2))


@lru_cache(maxsize=64)
def normal_critical(level: float) -> float:
    """The same by the normal distribution."""
    return float(special.ndtri(0.5 + level / 2))


def margin_by_player(error: float, players: float, level: float = LEVEL) -> float:
    """The margin of error of a number with that standard error, by t(players - 1); NaN for a single player.

    players: also the effective number of them, which need not be whole.
    """
    return t_critical(level, players - 1) * float(error) if players > 1 else float("nan")


def margin_of_difference(one: np.ndarray, other: np.ndarray, level: float = LEVEL) -> float:
    """The margin of error of the difference of two means, spreads apart. Welch 1947, Biometrika 34:28-35.

    one, other: (n,), (m,) the values of two groups, at least two each.
    """
    a, b = (values.var(ddof=1) / values.size for values in (one, other))
    freedom = (a + b) ** 2 / (a**2 / (one.size - 1) + b**2 / (other.size - 1))
    return t_critical(level, float(freedom)) * float(np.sqrt(a + b))
