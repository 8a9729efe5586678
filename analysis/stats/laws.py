"""Distribution functions and tests by scipy.special and numpy: importing scipy.stats takes a command most of a second.

Each gives the digits that scipy.stats gives.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]


def binomial_below(count: Any, trials: Any, chance: Any) -> Array:
    """The chance of at most `count` successes in `trials`; the arguments broadcast to the result's shape."""
    left = np.maximum(np.asarray(trials) - count, 1.0)
    below = special.betainc(left, np.asarray(count) + 1.0, 1 - np.asarray(chance))
    return np.where(np.asarray(count) >= trials, 1.0, below)


def binomial_exactly(count: Any, trials: Any, chance: Any) -> Array:
    """The chance of `count` successes in `trials`, 0 to `trials` of them; the arguments broadcast to the shape."""
    count, chance = np.asarray(count), np.asarray(chance)
    rest = np.asarray(trials) - count
    by_hand = special.xlogy(count, chance) + special.xlog1py(rest, -chance)
    return np.exp(special.gammaln(trials + 1) - special.gammaln(count + 1) - special.gammaln(rest + 1) + by_hand)


def poisson_above(count: Any, mean: Any) -> Array:
    """The chance of more than `count` events where `mean` are expected."""
    above = special.gammainc(np.maximum(np.asarray(count) + 1.0, 1.0), mean)
    return np.where(np.asarray(count) < 0, 1.0, above)


def gamma_quantile(below: float, shape: Any, scale: Any) -> Array:
    """The value that the share `below` of a gamma distribution of this shape and scale does not exceed."""
    return np.asarray(special.gammaincinv(shape, below) * scale)


def chi2_quantile(below: float, degrees: Any) -> Array:
    """The value that the share `below` of a chi-squared distribution does not exceed."""
    return np.asarray(2 * special.gammaincinv(np.asarray(degrees) / 2, below))


def ranks(column: Array) -> Array:
    """(n,) ranks of an (n,) column, from 1; those that are equal share the mean of their ranks."""
    _, place, count = np.unique(column, return_inverse=True, return_counts=True)
    return np.asarray((np.cumsum(count) - (count - 1) / 2)[place])


def kruskal_wallis(groups: Sequence[Array]) -> float:
    """The p value of groups that differ by chance only. Kruskal & Wallis 1952, J. Am. Stat. Assoc. 47:583-621.

    groups: at least two, (n,) values each, not all alike; by the chi-squared distribution, corrected for ties.
    """
    sizes = np.array([len(group) for group in groups])
    whole = np.concatenate(list(groups))
    n, rank = whole.size, ranks(whole)
    sums = np.add.reduceat(rank, np.r_[0, np.cumsum(sizes)[:-1]])
    tied = np.unique(whole, return_counts=True)[1].astype(float)
    height = 12.0 / (n * (n + 1)) * np.sum(sums**2 / sizes) - 3 * (n + 1)
    return float(special.chdtrc(len(groups) - 1, height / (1 - np.sum(tied**3 - tied) / (n**3 - n))))
