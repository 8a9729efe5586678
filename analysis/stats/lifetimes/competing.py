"""Which end came first: the share that has died, and the share that has quit, by each time."""

from dataclasses import dataclass

import numpy as np

from analysis.stats.clusters import numbered
from analysis.stats.estimate import LEVEL
from analysis.stats.jackknife import by_player, critical_by_player, deviations, feasible
from analysis.stats.lifetimes.survival import checked
from analysis.stats.proportions import wilson

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
    """The Aalen-Johansen share that ended by cause `of`, with an interval by player on the complementary
    log-log scale: jackknife over players, t with the effective number of players less one.

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
    risk, all_ends = by_player(duration, ended, number, times, players)
    mine = by_player(duration, cause == of, number, times, players)[1]

    share = _incidence(*(counts.sum(axis=0) for counts in (risk, all_ends, mine)))
    if players > 1 and feasible(players, times.size):
        apart = deviations(share, _incidence(*(counts.sum(axis=0) - counts for counts in (risk, all_ends, mine))))
    else:
        apart = _influence(risk, all_ends, mine) * np.sqrt(players / max(players - 1, 1))
    variance = (apart**2).sum(axis=0)

    low, high = np.full(times.size, np.nan), np.full(times.size, np.nan)
    if players > 1:
        critical = critical_by_player(np.bincount(number), level)
        inside = (share > 0) & (share < 1)
        f = np.where(inside, share, 0.5)
        # ln(-ln(1 - F)), so that the interval stays within 0 and 1.
        margin = critical * np.sqrt(variance) / ((1 - f) * -np.log1p(-f))
        low, high = 1 - (1 - f) ** np.exp(-margin), 1 - (1 - f) ** np.exp(margin)
        low[~inside], high[~inside] = 0.0, 1.0
        at_zero = share <= 0
        high[at_zero] = wilson(0, players, level)[1]
        low[share >= 1] = wilson(players, players, level)[0]
    return Incidence(times, share, low, high, int(np.sum(cause == of)))


def _incidence(risk: Array, ends: Array, mine: Array) -> Array:
    """The share that has ended by one cause by each time; (..., times) at risk, ending, ending by it."""
    surviving = np.cumprod(1 - ends / np.maximum(risk, 1), axis=-1)
    before = np.concatenate([np.ones((*surviving.shape[:-1], 1)), surviving[..., :-1]], axis=-1)
    return np.cumsum(before[..., : risk.shape[-1]] * mine / np.maximum(risk, 1), axis=-1)


def _influence(risk: Array, all_ends: Array, mine: Array) -> Array:
    """(players, times) each player's influence on the share: linearised, for many players."""
    n, d, d_this = (counts.sum(axis=0) for counts in (risk, all_ends, mine))
    surviving = np.cumprod(1 - d / n)
    before = np.r_[1.0, surviving[:-1]] if n.size else surviving
    share = np.cumsum(before * d_this / n)
    # Own ends of this kind as they come, and all own ends through the survival they change.
    here = np.cumsum(before / n * (mine - risk * d_this / n), axis=1)
    on_survival = np.where(n > d, (all_ends - risk * d / n) / np.where(n > d, n - d, 1), 0.0)
    lost = np.cumsum(on_survival, axis=1)
    return here - (share * lost - np.cumsum(share * on_survival, axis=1))
