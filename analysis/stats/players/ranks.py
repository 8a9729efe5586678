"""The median player; rank correlation of two things known of each player, or of each run, compared within players."""

import numpy as np

from analysis.stats.clusters import numbered, sums
from analysis.stats.estimate import LEVEL, Estimate, margin_by_player, normal_critical
from analysis.stats.laws import binomial_below, ranks
from analysis.stats.proportions import clopper_pearson

Array = np.ndarray
_FEWEST_PLAYERS = 3


def rank_correlation(one: Array, other: Array, level: float = LEVEL) -> Estimate:
    """Spearman's rank correlation of two columns with one row a player; rows with a missing value are left out.

    Fewer than three players or no spread: no value; fewer than four: no interval.

    Interval on Fisher's scale with the standard error sqrt((1 + r^2 / 2) / (n - 3)):
    Bonett & Wright 2000, Psychometrika 65:23-28. Of a perfect order, where that scale has no end, the one limit is that
    of an order with two neighbours swapped, the other is the coefficient itself.
    """
    one, other = np.asarray(one, dtype=float), np.asarray(other, dtype=float)
    known = np.isfinite(one) & np.isfinite(other)
    one, other = one[known], other[known]
    n = int(one.size)
    if n < 3 or np.ptp(one) == 0 or np.ptp(other) == 0:
        return Estimate(None, level=level, players=n)
    r = float(np.corrcoef(ranks(one), ranks(other))[0, 1])
    if n < 4:
        return Estimate(r, level=level, players=n)
    # Four players agree by chance in two playtests of 24: an interval of no width would call that certain.
    most = 1 - 12 / (n * (n * n - 1))
    held = float(np.clip(r, -most, most))
    centre = np.arctanh(held)
    margin = normal_critical(level) * np.sqrt((1 + held * held / 2) / (n - 3))
    low, high = float(np.tanh(centre - margin)), float(np.tanh(centre + margin))
    return Estimate(r, -1.0 if r < -most else low, 1.0 if r > most else high, level, n)


def median_of_players(value: Array, level: float = LEVEL) -> Estimate:
    """The median player's value, the upper one of two in the middle, with an interval from one player to another.

    value: one a player; NaN is left out, infinity (never reached) is not. An end is None at infinity, both with too few
    players. The interval holds the median of all such players whatever its distribution: 1 less the chance that too
    few lie on one side of it, a binomial of 1/2 (Thompson 1936, Ann. Math. Stat. 7:122-128).
    """
    value = np.sort(value[~np.isnan(value)])
    n = len(value)
    if not n or not np.isfinite(value[n // 2]):
        return Estimate(None, level=level, players=n)
    fewer = int(np.sum(binomial_below(np.arange(n), n, 0.5) <= (1 - level) / 2))
    low, high = (float(value[fewer - 1]), float(value[n - fewer])) if fewer else (None, None)
    high = high if high is None or np.isfinite(high) else None
    return Estimate(float(value[n // 2]), low, high, level, players=n)


def correlation_within_players(
    one: Array, other: Array, player: Array, ranked: bool = True, level: float = LEVEL
) -> Estimate:
    """The correlation of two columns with one row a run, each player compared with itself only.

    Both columns are ranked among each player's own runs (`ranked`; divided by the number of runs + 1) and centred on
    the player; then sum(a b) / sqrt(sum(a^2) sum(b^2)) over all runs. So what differs between players (who rates
    high, who plays well) counts for nothing. Without ranks it is the within-subject correlation of Bland & Altman
    1995, BMJ 310:446. Interval on Fisher's scale: jackknife over players, t(players - 1). Where all players agree in
    sign, it reaches as near to 0 as a sign test does: 2 q - 1 with q the lower limit of Clopper & Pearson for as many
    successes as players. `players` counts those with two runs or more of which anything differs. None with fewer than
    three of them, or without spread.
    """
    one, other = np.asarray(one, dtype=float), np.asarray(other, dtype=float)
    known = np.isfinite(one) & np.isfinite(other)
    labels, number = numbered(np.asarray(player)[known])
    centred = []
    for column in (one[known], other[known]):
        own = np.zeros(column.size)
        for i in range(labels.size):
            mine = number == i
            value = ranks(column[mine]) / (mine.sum() + 1) if ranked else column[mine]
            own[mine] = value - value.mean()
        centred.append(own)
    a, b = centred
    both, first, second = sums(number, a * b, a * a, b * b)
    # Scale-free: 1e-12 of the largest sum is rounding.
    tells = (first > 1e-12 * first.max(initial=0.0)) | (second > 1e-12 * second.max(initial=0.0))
    both, first, second = both[tells], first[tells], second[tells]
    players = int(tells.sum())
    if players < _FEWEST_PLAYERS or first.sum() <= 0 or second.sum() <= 0:
        return Estimate(None, level=level, players=players)
    r = float(both.sum() / np.sqrt(first.sum() * second.sum()))
    without = (first.sum() - first) * (second.sum() - second)
    if np.any(without <= 1e-12 * first.sum() * second.sum()):
        return Estimate(r, level=level, players=players)
    inside = 1 - 1e-12
    left_out = np.arctanh(np.clip((both.sum() - both) / np.sqrt(without), -inside, inside))
    centre = np.arctanh(np.clip(r, -inside, inside))
    error = np.sqrt((players - 1) / players * np.sum((left_out - left_out.mean()) ** 2))
    margin = margin_by_player(error, players, level)
    low, high = float(np.tanh(centre - margin)), float(np.tanh(centre + margin))
    if np.all(both > 0) or np.all(both < 0):
        # Three players with two runs each agree by chance in one playtest of four; the jackknife would be sure of it.
        alike = 2 * clopper_pearson(players, players, level)[0] - 1
        low, high = (min(low, alike), high) if r > 0 else (low, max(high, -alike))
    return Estimate(r, low, high, level, players)
