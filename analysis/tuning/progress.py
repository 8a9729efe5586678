"""Did it help: two builds compared by player, and predictions held against what came."""

from dataclasses import dataclass

import numpy as np
from scipy import stats
from scipy.special import stdtrit

from analysis.stats.proportions import wilson
from analysis.tuning.observed import ByPlayer
from analysis.tuning.proposal import Prediction

PROBABILITIES = (0.025, 0.1, 0.5, 0.9, 0.975)


@dataclass(frozen=True)
class Difference:
    """After minus before, with a 95 % interval by player; None where the data allow none.

    how: "players" (different people, each once), "within" (the same people on both builds), "means".
    """

    before: float | None
    after: float | None
    value: float | None
    low: float | None
    high: float | None
    players_before: int
    players_after: int
    how: str


def difference(before: ByPlayer, after: ByPlayer, level: float = 0.95) -> Difference:
    """The difference of two builds.

    At least three players with a value on both: a t interval of their own differences, and all is said of these players
    only. Otherwise, or where all of them changed alike, as of different people: shares by Newcombe's hybrid of Wilson
    intervals (method 10 of Newcombe 1998, Stat. Med. 17:873-890), other figures by Welch's t.
    """
    a, b = before.value, after.value
    both = np.intersect1d(before.player, after.player)
    same = len(both) >= 3
    if same:
        a = np.array([a[before.player == p][0] for p in both])
        b = np.array([b[after.player == p][0] for p in both])
    means = [float(v.mean()) if len(v) else None for v in (a, b)]
    counts = (len(a), len(b))
    if same:
        own = b - a
        middle, error = float(own.mean()), float(own.std(ddof=1) / np.sqrt(len(own)))
        reach = float(stdtrit(len(own) - 1, 0.5 + level / 2)) * error
        if error > 0:
            return Difference(
                means[0], means[1], middle, middle - reach, middle + reach, *counts, how="within"
            )
    if means[0] is None or means[1] is None:
        return Difference(means[0], means[1], None, None, None, *counts, how="players")
    value = means[1] - means[0]
    if set(np.unique(np.concatenate([a, b]))) <= {0.0, 1.0}:
        (low_a, high_a), (low_b, high_b) = (wilson(float(v.sum()), len(v), level) for v in (a, b))
        low = value - float(np.hypot(means[1] - low_b, high_a - means[0]))
        high = value + float(np.hypot(high_b - means[1], means[0] - low_a))
        return Difference(means[0], means[1], value, low, high, *counts, how="within" if same else "players")
    if min(counts) < 2 or max(np.ptp(a), np.ptp(b)) < 1e-9:
        return Difference(means[0], means[1], value, None, None, *counts, how="within" if same else "means")
    # Welch 1947: unequal variances, Satterthwaite's degrees of freedom.
    own = np.array([v.var(ddof=1) / len(v) for v in (a, b)])
    freedom = own.sum() ** 2 / (own**2 / (np.array(counts) - 1)).sum()
    reach = float(stdtrit(freedom, 0.5 + level / 2) * np.sqrt(own.sum()))
    how = "within" if same else "means"
    return Difference(means[0], means[1], value, value - reach, value + reach, *counts, how=how)


def count_interval(said: Prediction, players: int, level: float = 0.8) -> tuple[float, float]:
    """The interval in which a share counted on so many new players was expected, given a kept prediction.

    The population's share is drawn from the kept quantiles, the count from a binomial.
    """
    at = (np.arange(200) + 0.5) / 200
    kept = (said.low95, said.low80, said.value, said.high80, said.high95)
    shares = np.clip(np.interp(at, PROBABILITIES, kept), 0, 1)
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
