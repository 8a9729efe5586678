"""Rank correlation of two things known of each player."""

from dataclasses import dataclass

import numpy as np
from scipy import stats

Array = np.ndarray


@dataclass(frozen=True)
class RankCorrelation:
    """Spearman's coefficient with its interval; None where fewer than four players or no spread leave
    none.
    """

    value: float | None
    low: float | None
    high: float | None
    players: int


def rank_correlation(one: Array, other: Array, level: float = 0.95) -> RankCorrelation:
    """Spearman's rank correlation of two columns with one row a player; rows with a missing value are left
    out.

    Interval on Fisher's scale with the standard error sqrt((1 + r^2 / 2) / (n - 3)):
    Bonett & Wright 2000, Psychometrika 65:23-28.
    """
    one, other = np.asarray(one, dtype=float), np.asarray(other, dtype=float)
    known = np.isfinite(one) & np.isfinite(other)
    one, other = one[known], other[known]
    n = int(one.size)
    if n < 3 or np.ptp(one) == 0 or np.ptp(other) == 0:
        return RankCorrelation(None, None, None, n)
    r = float(np.corrcoef(stats.rankdata(one), stats.rankdata(other))[0, 1])
    if n < 4:
        return RankCorrelation(r, None, None, n)
    centre = np.arctanh(np.clip(r, -1 + 1e-12, 1 - 1e-12))
    reach = stats.norm.ppf(0.5 + level / 2) * np.sqrt((1 + r * r / 2) / (n - 3))
    return RankCorrelation(r, float(np.tanh(centre - reach)), float(np.tanh(centre + reach)), n)
