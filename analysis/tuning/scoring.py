"""Did it help: two builds compared by player, and predictions compared with what came."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.models.observed import ByPlayer
from analysis.stats.estimate import (
    INNER,
    LEVEL,
    PREDICTED_QUANTILES,
    Estimate,
    margin_by_player,
    margin_of_difference,
    t_critical,
)
from analysis.stats.laws import binomial_below
from analysis.stats.proportions import newcombe
from analysis.tuning.proposal import Prediction

Array = np.ndarray
_Limits = tuple[float, float]


@dataclass(frozen=True)
class Difference(Estimate):
    """After minus before, with an interval by player; None where the data allow none.

    before, after: the mean over players, or the quantile that was asked for, of so many players. how: "players"
    (different people, each once), "within" (the same people on both builds), "orders" (the same people, some of whom
    began with the one and some with the other), "means", "quantiles".
    """

    before: float | None = None
    after: float | None = None
    players_before: int = 0
    players_after: int = 0
    how: str = "players"


# Intervals of a quantile: this many playtests are drawn from the players.
_RESAMPLES, _SEED = 2000, 1


def players_for_quantile(quantile: float, level: float = LEVEL) -> int:
    """How many players an interval of their `quantile` needs: with fewer, even from the lowest value to the highest it
    would hold the quantile less often than `level`.

    With n values it holds it unless all lie on one side: 1 - q^n - (1 - q)^n (Thompson 1936, Ann. Math. Stat.
    7:122-128).
    """
    players = 2
    while 1 - quantile**players - (1 - quantile) ** players < level:
        players += 1
    return players


def difference(before: ByPlayer, after: ByPlayer, level: float = LEVEL, quantile: float | None = None) -> Difference:
    """The difference of two builds: of the means over players, or of the `quantile` of the players' values.

    At least three players with a value on both: a t interval of their own differences, and all is said of these players
    only. Otherwise, or where all of them changed alike, as of different people: shares by Newcombe's interval, other
    figures by Welch's t. A quantile: the middle of what playtests drawn anew from the players show (percentile
    bootstrap: Efron & Tibshirani 1993, An Introduction to the Bootstrap, chapter 13), players who played both drawn
    with both their values; none with too few players (`players_for_quantile`).
    """
    both = np.intersect1d(before.player, after.player)
    same = len(both) >= 3
    if same:
        before, after = (_only(side, both) for side in (before, after))
    a, b = before.value, after.value
    first, second = (None if not len(v) else _figure(v, quantile) for v in (a, b))
    value = limits = None
    if first is not None and second is not None:
        value, limits = second - first, _limits(a, b, same, level, quantile)
    other = "quantiles" if quantile is not None else "players" if value is None or _shares(a, b) else "means"
    low, high = limits or (None, None)
    return Difference(
        value,
        low,
        high,
        level,
        players=len(a) if same else len(a) + len(b),
        runs=int(before.runs.sum() + after.runs.sum()),
        before=first,
        after=second,
        players_before=len(a),
        players_after=len(b),
        how="within" if same else other,
    )


def over_orders(before: ByPlayer, after: ByPlayer, began: Sequence[bool], level: float = LEVEL) -> Difference:
    """The difference of two builds that the same people played, free of the order in which they did.

    before, after: the same players in the same order; began: (players,) whether each began with the earlier build, two
    of either at least. What practice adds is the same in both orders with the other sign, so that the mean of the two
    orders' differences is free of it: Grizzle 1965 (Biometrics 21:467-480), with t(players - 2).
    """
    first = np.asarray(began, dtype=bool)
    own = after.value - before.value
    value = (own[first].mean() + own[~first].mean()) / 2
    rest = np.concatenate([own[first] - own[first].mean(), own[~first] - own[~first].mean()])
    error = np.sqrt((rest**2).sum() / (own.size - 2) * (1 / first.sum() + 1 / (~first).sum())) / 2
    start, end = ((side.value[first].mean() + side.value[~first].mean()) / 2 for side in (before, after))
    margin = t_critical(level, own.size - 2) * error
    return Difference(
        float(value),
        float(value - margin) if error > 0 else None,
        float(value + margin) if error > 0 else None,
        level,
        players=own.size,
        runs=int(before.runs.sum() + after.runs.sum()),
        before=float(start),
        after=float(end),
        players_before=own.size,
        players_after=own.size,
        how="orders",
    )


def _only(side: ByPlayer, players: Array) -> ByPlayer:
    """The values of these players, in their order."""
    at = [int(np.flatnonzero(side.player == player)[0]) for player in players]
    return ByPlayer(players, side.value[at], side.runs[at])


def _figure(values: Array, quantile: float | None) -> float:
    return float(values.mean() if quantile is None else np.quantile(values, quantile))


def _shares(a: Array, b: Array) -> bool:
    """Whether each player either did it or did not."""
    return set(np.unique(np.concatenate([a, b]))) <= {0.0, 1.0}


def _limits(a: Array, b: Array, same: bool, level: float, quantile: float | None) -> _Limits | None:
    """The interval of the difference; None where there is none. With `same`, one player's values stand at one place."""
    if quantile is not None:
        return _of_quantiles(a, b, quantile, same, level)
    own = b - a if same else np.zeros(1)
    if np.ptp(own) > 0:
        margin = margin_by_player(own.std(ddof=1) / np.sqrt(len(own)), len(own), level)
    elif _shares(a, b):
        low, high = newcombe(a.sum(), len(a), b.sum(), len(b), level)
        return float(low), float(high)
    elif min(len(a), len(b)) < 2 or max(np.ptp(a), np.ptp(b)) < 1e-9:
        return None
    else:
        margin = margin_of_difference(b, a, level)
    middle = float(b.mean() - a.mean())
    return middle - margin, middle + margin


def _of_quantiles(a: Array, b: Array, quantile: float, same: bool, level: float) -> _Limits | None:
    few = min(len(a), len(b)) < players_for_quantile(quantile, level)
    if few or max(np.ptp(a), np.ptp(b)) <= 1e-9:
        return None
    rng = np.random.default_rng(_SEED)
    drawn = rng.integers(0, len(a), (_RESAMPLES, len(a)))
    others = drawn if same else rng.integers(0, len(b), (_RESAMPLES, len(b)))
    found = np.quantile(b[others], quantile, axis=1) - np.quantile(a[drawn], quantile, axis=1)
    low, high = np.quantile(found, [(1 - level) / 2, (1 + level) / 2])
    return float(low), float(high)


def count_interval(said: Prediction, players: int, level: float = INNER) -> tuple[float, float]:
    """The interval in which a share counted on so many new players was expected, given a kept prediction.

    The population's share is drawn from the kept quantiles, the count from a binomial.
    """
    at = (np.arange(200) + 0.5) / 200
    kept = (said.low95, said.low80, said.value, said.high80, said.high95)
    shares = np.clip(np.interp(at, PREDICTED_QUANTILES, kept), 0, 1)
    below = binomial_below(np.arange(players + 1)[:, None], players, shares).mean(axis=1)
    low = float(np.searchsorted(below, (1 - level) / 2)) / players
    high = min(float(np.searchsorted(below, (1 + level) / 2)), players) / players
    return low, high


@dataclass(frozen=True)
class Score:
    """One kept prediction of one target, and what the later playtest showed. `inside`: within expected_low..high."""

    noted_at: str
    build: str
    proposal: str
    target: str
    said: Prediction
    said_no_change: Prediction
    wanted: float
    unit: str
    observed: float
    players: int
    runs: int
    expected_low: float
    expected_high: float

    @property
    def inside(self) -> bool:
        return self.expected_low - 1e-9 <= self.observed <= self.expected_high + 1e-9
