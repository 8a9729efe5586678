"""Did it help: two builds compared by player, and predictions held against what came."""

from dataclasses import dataclass

import numpy as np
from scipy import stats
from scipy.special import stdtrit

from analysis.models.observed import ByPlayer
from analysis.stats.estimate import INNER, LEVEL, PREDICTED_QUANTILES
from analysis.stats.proportions import wilson
from analysis.tuning.proposal import Prediction


@dataclass(frozen=True)
class Difference:
    """After minus before, with an interval by player; None where the data allow none.

    before, after: the mean over players, or the quantile that was asked for. how: "players" (different people, each
    once), "within" (the same people on both builds), "means", "quantiles". runs: those that the figures rest on.
    """

    before: float | None
    after: float | None
    value: float | None
    low: float | None
    high: float | None
    players_before: int
    players_after: int
    how: str
    runs: int


# Intervals of a quantile: this many playtests are drawn from the players.
_RESAMPLES = 2000


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


def difference(
    before: ByPlayer, after: ByPlayer, level: float = LEVEL, quantile: float | None = None, seed: int = 1
) -> Difference:
    """The difference of two builds: of the means over players, or of the `quantile` of the players' values.

    At least three players with a value on both: a t interval of their own differences, and all is said of these players
    only. Otherwise, or where all of them changed alike, as of different people: shares by Newcombe's hybrid of Wilson
    intervals (method 10 of Newcombe 1998, Stat. Med. 17:873-890), other figures by Welch's t. A quantile: the middle of
    what playtests drawn anew from the players show (percentile bootstrap: Efron & Tibshirani 1993, An Introduction to
    the Bootstrap, chapter 13), players who played both drawn with both their values; none with too few players
    (`players_for_quantile`).
    """
    a, b = before.value, after.value
    both = np.intersect1d(before.player, after.player)
    same = len(both) >= 3
    played = [np.isin(side.player, both) if same else slice(None) for side in (before, after)]
    runs = int(before.runs[played[0]].sum() + after.runs[played[1]].sum())
    if same:
        a = np.array([a[before.player == p][0] for p in both])
        b = np.array([b[after.player == p][0] for p in both])
    counts = (len(a), len(b))
    if quantile is not None:
        return _of_quantiles(a, b, quantile, same, level, seed, runs)
    means = [float(v.mean()) if len(v) else None for v in (a, b)]
    if same:
        own = b - a
        middle, error = float(own.mean()), float(own.std(ddof=1) / np.sqrt(len(own)))
        reach = float(stdtrit(len(own) - 1, 0.5 + level / 2)) * error
        if error > 0:
            return Difference(
                means[0], means[1], middle, middle - reach, middle + reach, *counts, how="within", runs=runs
            )
    if means[0] is None or means[1] is None:
        return Difference(means[0], means[1], None, None, None, *counts, how="players", runs=runs)
    value = means[1] - means[0]
    if set(np.unique(np.concatenate([a, b]))) <= {0.0, 1.0}:
        (low_a, high_a), (low_b, high_b) = (wilson(float(v.sum()), len(v), level) for v in (a, b))
        low = value - float(np.hypot(means[1] - low_b, high_a - means[0]))
        high = value + float(np.hypot(high_b - means[1], means[0] - low_a))
        how = "within" if same else "players"
        return Difference(means[0], means[1], value, low, high, *counts, how=how, runs=runs)
    how = "within" if same else "means"
    if min(counts) < 2 or max(np.ptp(a), np.ptp(b)) < 1e-9:
        return Difference(means[0], means[1], value, None, None, *counts, how=how, runs=runs)
    # Welch 1947: unequal variances, Satterthwaite's degrees of freedom.
    own = np.array([v.var(ddof=1) / len(v) for v in (a, b)])
    freedom = own.sum() ** 2 / (own**2 / (np.array(counts) - 1)).sum()
    reach = float(stdtrit(freedom, 0.5 + level / 2) * np.sqrt(own.sum()))
    return Difference(means[0], means[1], value, value - reach, value + reach, *counts, how=how, runs=runs)


def _of_quantiles(
    a: np.ndarray, b: np.ndarray, quantile: float, same: bool, level: float, seed: int, runs: int
) -> Difference:
    """a, b: players' values; with `same`, those of one player stand at one place."""
    how, counts = "within" if same else "quantiles", (len(a), len(b))
    first, second = (float(np.quantile(v, quantile)) if len(v) else None for v in (a, b))
    if first is None or second is None:
        return Difference(first, second, None, None, None, *counts, how=how, runs=runs)
    low = high = None
    if min(counts) >= players_for_quantile(quantile, level) and max(np.ptp(a), np.ptp(b)) > 1e-9:
        rng = np.random.default_rng(seed)
        drawn = rng.integers(0, len(a), (_RESAMPLES, len(a)))
        others = drawn if same else rng.integers(0, len(b), (_RESAMPLES, len(b)))
        found = np.quantile(b[others], quantile, axis=1) - np.quantile(a[drawn], quantile, axis=1)
        low, high = (float(v) for v in np.quantile(found, [(1 - level) / 2, (1 + level) / 2]))
    return Difference(first, second, second - first, low, high, *counts, how=how, runs=runs)


def count_interval(said: Prediction, players: int, level: float = INNER) -> tuple[float, float]:
    """The interval in which a share counted on so many new players was expected, given a kept prediction.

    The population's share is drawn from the kept quantiles, the count from a binomial.
    """
    at = (np.arange(200) + 0.5) / 200
    kept = (said.low95, said.low80, said.value, said.high80, said.high95)
    shares = np.clip(np.interp(at, PREDICTED_QUANTILES, kept), 0, 1)
    below = stats.binom.cdf(np.arange(players + 1)[:, None], players, shares).mean(axis=1)
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
