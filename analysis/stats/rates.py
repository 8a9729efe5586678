"""Events per second of exposure, by few players: pooled rates, their ratios, and an interval by player."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from analysis.stats.clusters import sums
from analysis.stats.estimate import LEVEL, Estimate
from analysis.stats.jackknife import critical_by_player, deviations

Array = np.ndarray
_DEATHS_A_BIN, _MOST_BINS = 10, 12


@dataclass(frozen=True)
class Rate(Estimate):
    """Events per unit of exposure with an interval by player; `value` is None without exposure.

    With no events `low` is 0 and `high` Garwood's limit; with a single player both are None.
    """

    events: int = 0
    exposure: float = 0.0


def rate_by_player(events: Array, exposure: Array, player: Array, level: float = LEVEL) -> Rate:
    """The pooled rate sum(events) / sum(exposure) with an interval by player on the log scale, by t with
    the effective number of players less one.

    events, exposure: (n,) any number of rows a player; player: (n,) labels. The variance of the log rate is
    that of the jackknife over players (Efron & Stein 1981, Ann. Stat. 9:586-596), never less than Poisson's:
    the linearised one is too small where few players differ much (METHODS.md). No events: the upper limit of
    Garwood 1936, Biometrika 28:437-442.
    """
    count, time = sums(player, events, exposure)
    # Whoever died at once has a death, though no time: left out, it would be lost.
    there = (time > 0) | (count > 0)
    count, time = count[there], time[there]
    players, total, all_events = int(np.count_nonzero(time)), float(time.sum()), float(count.sum())
    if players == 0:
        return Rate(None, events=int(all_events), level=level)
    value = all_events / total

    def rate(low: float | None, high: float | None) -> Rate:
        return Rate(value, low, high, level, players, events=int(all_events), exposure=total)

    if players == 1:
        return rate(None, None)
    if all_events == 0:
        return rate(0.0, float(special.chdtri(2, 0.5 - level / 2) / 2 / total))
    # Without one player at a time; half an event where that player had them all.
    without = np.log(np.maximum(all_events - count, 0.5) / (total - time))
    jackknife = float(np.sum(deviations(np.log(value), without) ** 2))
    error = np.sqrt(max(jackknife, 1 / all_events))
    factor = float(np.exp(critical_by_player(time, level) * error))
    return rate(value / factor, value * factor)


@dataclass(frozen=True)
class Hazard:
    """Deaths per unit of time within each bin [start, end), with an interval by player (NaN where there is
    none).
    """

    start: Array
    end: Array
    value: Array
    low: Array
    high: Array
    deaths: Array
    exposure: Array
    players: Array


def hazard_by_time(duration: Array, died: Array, player: Array, edges: Array) -> Hazard:
    """The death rate within each bin of time since the start: deaths in it over time spent in it, by player.

    duration, died, player: (n,); edges: (bins + 1,) increasing, from 0. A death exactly on an edge counts in
    the bin that it closes, as the time that led to it lies there; one at 0 counts in the first.
    """
    rows = []
    for inside, spent in zip(*deaths_in_bins(duration, died, edges), strict=True):
        rate = rate_by_player(inside, spent, player)
        rows.append((rate.value, rate.low, rate.high, rate.events, rate.exposure, rate.players))
    table = np.array(rows, dtype=float).reshape(-1, 6).T
    value, low, high, deaths, exposure, players = table
    start, end = np.asarray(edges[:-1], float), np.asarray(edges[1:], float)
    return Hazard(start, end, value, low, high, deaths.astype(int), exposure, players.astype(int))


def deaths_in_bins(duration: Array, died: Array, edges: Array) -> tuple[Array, Array]:
    """(bins, n) whether each died within each bin, and the time each spent in it; as for `hazard_by_time`."""
    duration, died = np.asarray(duration, dtype=float), np.asarray(died, dtype=bool)
    start, end = np.asarray(edges[:-1], dtype=float)[:, None], np.asarray(edges[1:], dtype=float)[:, None]
    inside = died & ((duration > start) | (start == edges[0])) & (duration <= end)
    return inside, np.clip(duration, start, end) - start


def hazard_edges(duration: Array, died: Array) -> Array:
    """(bins + 1,) edges from 0, with about equally many deaths in each bin, so that every bin can say something.

    duration, died: (n,); the edges are in the unit of the durations.
    """
    times = np.sort(np.asarray(duration, float)[np.asarray(died, bool)])
    longest = float(np.max(duration, initial=0.0))
    bins = int(np.clip(times.size // _DEATHS_A_BIN, 1, _MOST_BINS))
    inner = np.quantile(times, np.arange(1, bins) / bins) if times.size else np.zeros(0)
    edges = np.unique(np.r_[0.0, inner, longest])
    return edges if edges.size > 1 else np.array([0.0, max(longest, 1.0)])
