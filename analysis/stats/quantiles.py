"""Quantiles that intervals are made of, kept: hundreds of intervals of a page ask for the same few."""

from functools import lru_cache

from scipy import stats


@lru_cache(maxsize=4096)
def t_reach(level: float, players: int) -> float:
    """How many standard errors an interval reaches to each side, by t(players - 1); level: 0.95 for 95 %."""
    return float(stats.t.ppf(0.5 + level / 2, players - 1))


@lru_cache(maxsize=64)
def normal_reach(level: float) -> float:
    """The same by the normal distribution."""
    return float(stats.norm.ppf(0.5 + level / 2))
