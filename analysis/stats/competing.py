"""Which end came first: the share that has died, and the share that has quit, by each time."""

from dataclasses import dataclass

import numpy as np

from analysis.stats.clusters import numbered
from analysis.stats.estimate import LEVEL, t_critical
from analysis.stats.proportions import wilson
from analysis.stats.survival import checked

Array = np.ndarray
# Above this many (player, time) cells the times are thinned, so that memory stays bounded.
_MOST_CELLS = 4_000_000


@dataclass(frozen=True)
class Incidence:
    """The share of runs that ended in one way by each time, other ends competing with it; low, high by
    player.
    """

    time: Array
    share: Array
    low: Array
    high: Array
    events: int


def cumulative_incidence(duration: Array, cause: Array, player: Array, of: int, level: float = LEVEL) -> Incidence:
    """The Aalen-Johansen share that ended by cause `of`, with a cluster-robust complementary log-log
    interval.

    duration: (n,); cause: (n,) integers, 0 where the run was cut short (censored); player: (n,) labels.
    Unlike 1 less Kaplan-Meier with the other ends censored, the shares of all causes and of those still
    playing add up to 1. Aalen & Johansen 1978, Scand. J. Stat. 5:141-150; Kalbfleisch & Prentice 1980, ch. 7.
    """
    cause = np.asarray(cause)
    duration, ended = checked(duration, cause != 0)
    labels, number = numbered(player)
    players = labels.size
    times = np.unique(duration[ended])
    most = max(_MOST_CELLS // max(players, 1), 16)
    if times.size > most:
        grid = np.unique(np.quantile(times, np.linspace(0, 1, most), method="higher"))
        # A time is moved up to the next of the grid; what lies beyond the last death stays where it is.
        duration = np.where(
            duration <= grid[-1], grid[np.minimum(np.searchsorted(grid, duration), grid.size - 1)], duration
        )
        times = grid
    shape = (players, times.size)
    left = np.zeros((players, times.size + 1))
    np.add.at(left, (number, np.searchsorted(times, duration, side="right")), 1)
    risk = left[:, ::-1].cumsum(axis=1)[:, ::-1][:, 1:]
    all_ends, mine = np.zeros(shape), np.zeros(shape)
    np.add.at(all_ends, (number[ended], np.searchsorted(times, duration[ended])), 1)
    this = cause == of
    np.add.at(mine, (number[this], np.searchsorted(times, duration[this])), 1)

    n, d, d_this = risk.sum(axis=0), all_ends.sum(axis=0), mine.sum(axis=0)
    surviving = np.cumprod(1 - d / n)
    before = np.r_[1.0, surviving[:-1]] if times.size else surviving
    share = np.cumsum(before * d_this / n)
    # Influence of a player: own ends of this kind as they come, and all own ends through the survival they
    # change.
    here = np.cumsum(before / n * (mine - risk * d_this / n), axis=1)
    on_survival = np.where(n > d, (all_ends - risk * d / n) / np.where(n > d, n - d, 1), 0.0)
    lost = np.cumsum(on_survival, axis=1)
    influence = here - (share * lost - np.cumsum(share * on_survival, axis=1))
    variance = (influence**2).sum(axis=0)

    low, high = np.full(times.size, np.nan), np.full(times.size, np.nan)
    if players > 1:
        critical = t_critical(level, players - 1)
        inside = (share > 0) & (share < 1)
        f = np.where(inside, share, 0.5)
        # ln(-ln(1 - F)), so that the interval stays within 0 and 1.
        margin = critical * np.sqrt(variance) / ((1 - f) * -np.log1p(-f))
        low, high = 1 - (1 - f) ** np.exp(-margin), 1 - (1 - f) ** np.exp(margin)
        low[~inside], high[~inside] = 0.0, 1.0
        at_zero = share <= 0
        high[at_zero] = wilson(0, players, level)[1]
        low[share >= 1] = wilson(players, players, level)[0]
    return Incidence(times, share, low, high, int(this.sum()))
