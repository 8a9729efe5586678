"""Which places several games can hold: those that the data do not tell apart share them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from analysis.stats.estimate import LEVEL
from analysis.stats.players.within_player import holm

Array = np.ndarray
# Steps into which the values' range is parted for the exact count, fewer where it would take long; the work allowed.
_FINEST, _COARSEST, _WORK = 500, 60, 4_000_000
_MOST_PARTS = 60  # a common denominator of the shares of up to five runs
# Where the smaller of two groups has more players than these, Welch's test alone holds its level.
_MOST_PERMUTED = 60


@dataclass(frozen=True)
class Places:
    """The places one of several can hold, 1 the highest value: first to last. above, below: how many are told to lie
    above and below it."""

    first: int
    last: int
    above: int
    below: int


def shared_places(values: Sequence[Array], level: float = LEVEL) -> list[Places]:
    """The places of several groups by their means; in `level` of all classes every one of them is right at once.

    values: of each group one number a player, NaN where there is none; groups without any hold every place. All
    ordered pairs are tested, one-sided, and corrected by Holm, which holds the chance of any false "lies above"; a
    group's places run from 1 + those that lie above it to all - those that lie below it: simultaneous intervals of
    ranks (Al Mohamad, Goeman & van Zwet 2022, Biometrics 78:238-247; with Holm Mogstad, Romano, Shaikh & Wilhelm
    2024, Rev. Econ. Stud. 91:476-518; both from memory).
    """
    groups = [np.asarray(own, float)[~np.isnan(np.asarray(own, float))] for own in values]
    count = len(groups)
    p = np.full((count, count), np.nan)
    for i in range(count):
        for j in range(i):
            p[i, j], p[j, i] = higher_and_lower(groups[i], groups[j])
    lies_above = holm(p.ravel()).reshape(p.shape) <= 1 - level  # NaN, a group against itself, is not
    # What lies above one that lies above a third lies above that too; means order the tests, so there is no circle.
    for k in range(count):
        lies_above |= lies_above[:, k : k + 1] & lies_above[k]
    above, below = lies_above.sum(axis=0), lies_above.sum(axis=1)
    return [Places(1 + int(a), count - int(b), int(a), int(b)) for a, b in zip(above, below, strict=True)]


def higher_and_lower(one: Array, other: Array) -> tuple[float, float]:
    """One-sided p values that the mean of `one` is higher, and lower, than that of `other`; 1 where none can be had.

    The larger of two: Welch's, that minds unequal spreads, and that of permuting players, that minds few and uneven
    ones: two players that agree are certain for the first alone.
    """
    if min(one.size, other.size) < 2:
        return 1.0, 1.0
    difference = float(one.mean() - other.mean())
    a, b = one.var(ddof=1) / one.size, other.var(ddof=1) / other.size
    if abs(difference) <= 1e-12 * max(abs(one.mean()), abs(other.mean()), 1e-300):
        return 1.0, 1.0
    # Without any spread Welch's is certain, and permuting decides.
    below = float(difference < 0)
    if a + b > 0:
        freedom = (a + b) ** 2 / (a**2 / (one.size - 1) + b**2 / (other.size - 1))
        below = float(special.stdtr(freedom, -difference / np.sqrt(a + b)))
    if min(one.size, other.size) > _MOST_PERMUTED:
        return below, 1 - below
    higher, lower = permuted(one, other)
    return max(below, higher), max(1 - below, lower)


def permuted(one: Array, other: Array) -> tuple[float, float]:
    """The shares of all ways to part the players into groups of these sizes in which the sum of the first is at least,
    and at most, what it was.

    Exact, by counting the sums of all subsets one player at a time: Pagano & Tritchler 1983, J. Am. Stat. Assoc.
    78:435-440 (from memory). Values that are no multiples of a step are rounded to one first, which leaves the test
    exact for the rounded ones.
    """
    if one.size > other.size:
        lower, higher = permuted(other, one)
        return higher, lower
    every, size = np.concatenate([one, other]), one.size
    low, spread = float(every.min()), float(np.ptp(every))
    if spread == 0:
        return 1.0, 1.0
    whole = _stepped(every - low, spread, int(np.clip(_WORK / (size**2 * every.size), _COARSEST, _FINEST)))
    ways = np.zeros((size + 1, int(np.sort(whole)[-size:].sum()) + 1))
    ways[0, 0] = 1.0
    for value in whole:
        # The right side is taken before it is added to: each player is in a subset once at most.
        ways[1:, value:] += ways[:-1, : ways.shape[1] - value].copy()
    seen, last = int(whole[:size].sum()), ways[size]
    return float(last[seen:].sum() / last.sum()), float(last[: seen + 1].sum() / last.sum())


def _stepped(values: Array, spread: float, most: int) -> Array:
    """Values from 0 to `spread` as whole steps, at most `most`: as they are where a step divides them all, as thirds
    of shares, so that ties stay ties; otherwise rounded."""
    for parts in range(1, _MOST_PARTS + 1):
        if spread * parts > most:
            break
        if np.allclose(values * parts, np.rint(values * parts), rtol=0, atol=1e-9):
            return np.rint(values * parts).astype(int)
    return np.rint(values / spread * most).astype(int)
