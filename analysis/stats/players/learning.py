"""Rates compared within players: do they get better from attempt to attempt?"""

from dataclasses import dataclass

import numpy as np
from scipy import optimize

from analysis.stats.clusters import numbered
from analysis.stats.estimate import LEVEL, Estimate, margin_by_player

Array = np.ndarray


@dataclass(frozen=True)
class LogRateRatio(Estimate):
    """How the log rate of events changes with one more of a covariate. No limits where fewer than two players have
    events at more than one value of it."""

    value: float  # there always is one

    @property
    def ratio(self) -> Estimate:
        """How many times the rate it becomes."""
        return self.exp("times")

    @property
    def per_doubling(self) -> Estimate:
        """The same for a covariate that is a logarithm: with twice as much, 0.9 is a tenth fewer."""
        return self.times(float(np.log(2)), "").exp("times")


def learning_within_players(
    events: Array, exposure: Array, attempt: Array, player: Array, build: Array | None = None, level: float = LEVEL
) -> LogRateRatio | None:
    """The slope of the log rate on the log attempt, each player having a level of its own on each build.

    As `slope_within_players`, attempts counted from 1; build: (n,) labels, or all of one build. A power law of practice
    is the usual form (Newell & Rosenbloom 1981, from memory); no more is claimed for it here than a slope.
    """
    return slope_within_players(events, exposure, np.log(np.asarray(attempt, dtype=float)), player, build, level)


def slope_within_players(
    events: Array, exposure: Array, covariate: Array, player: Array, block: Array | None = None, level: float = LEVEL
) -> LogRateRatio | None:
    """The slope of the log rate of events on a covariate, each player compared with itself.

    events, exposure, covariate, player: (n,); block: (n,) labels of what else is held fixed beside the
    player, for instance the stage. Fixed-effects Poisson: given a block's total the counts are multinomial,
    so that players who stop early are not compared with those who went on (Hausman, Hall & Griliches 1984,
    Econometrica 52:909-938). Cluster-robust with t(players - 1). None where no block has events and two
    different values of the covariate, or where all events lie at the same end of it. Not for parts of a game, in which
    the time spent hangs on the events themselves: `parts.py`.
    """
    events, exposure = np.asarray(events, dtype=float), np.asarray(exposure, dtype=float)
    use = exposure > 0
    count, time, x = events[use], exposure[use], np.asarray(covariate, dtype=float)[use]
    _, owner = numbered(np.asarray(player)[use])
    _, within = numbered(np.zeros(owner.size) if block is None else np.asarray(block)[use])
    _, number = numbered(owner * (within.max(initial=0) + 1) + within)
    blocks = int(number.max(initial=-1)) + 1
    total = np.bincount(number, weights=count, minlength=blocks)
    most, least = np.full(blocks, -np.inf), np.full(blocks, np.inf)
    np.maximum.at(most, number, x)
    np.minimum.at(least, number, x)
    tells = (total > 0) & (most > least)
    if not tells.any():
        return None
    middle = float(x.mean())

    def parts(slope: float) -> tuple[Array, Array]:
        """(score, information) of each block."""
        weight = time * np.exp(slope * (x - middle))
        share = weight / np.bincount(number, weights=weight)[number]
        mean = np.bincount(number, weights=share * x)
        square = np.bincount(number, weights=share * x * x)
        return np.bincount(number, weights=count * x) - total * mean, total * (square - mean**2)

    def score(slope: float) -> float:
        return float(parts(slope)[0][tells].sum())

    if score(-8) <= 0 or score(8) >= 0:
        return None
    slope = float(optimize.brentq(score, -8, 8))
    scores, information = parts(slope)
    whose = np.zeros(blocks, int)
    whose[number] = owner
    players = int(np.unique(whose[tells]).size)
    if players < 2:
        return LogRateRatio(slope, level=level, players=players)
    by_player = np.bincount(whose[tells], weights=scores[tells])
    whole = float(np.sum(information[tells]))
    error = float(np.sqrt(players / (players - 1) * np.sum(by_player**2))) / whole
    return LogRateRatio.around(slope, margin_by_player(error, players, level), level=level, players=players)
