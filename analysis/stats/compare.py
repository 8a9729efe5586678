"""Two builds compared: log-rank and restricted mean of survival, and rates, by permutation of players."""

from dataclasses import dataclass

import numpy as np

from analysis.stats.clustered import mean_influence
from analysis.stats.clusters import numbered
from analysis.stats.estimate import LEVEL, Estimate, t_critical
from analysis.stats.permuting import arrangements, p_value
from analysis.stats.survival import checked

Array = np.ndarray


@dataclass(frozen=True)
class Comparison:
    """Build B against build A.

    difference: restricted mean of B less that of A, in the unit of the durations, with its interval by player
    (None with fewer than two players a build). log_rank_z: positive where B's runs die sooner than A's. p
    values by permutation of players. players_both: players who played both builds, compared within
    themselves.
    """

    difference: Estimate
    mean_a: float | None
    mean_b: float | None
    horizon: float
    log_rank_z: float
    log_rank_p: float | None
    difference_p: float | None
    players_a: int
    players_b: int
    players_both: int


def compare_builds(
    duration: Array,
    died: Array,
    player: Array,
    is_b: Array,
    *,
    horizon: float | None = None,
    level: float = LEVEL,
    most: int = 1999,
    seed: int = 1,
) -> Comparison:
    """Log-rank and restricted-mean difference between two builds, permuting players.

    duration, died, player: (n,) as for `survival_by_player`; is_b: (n,) bool, which build the run was played
    on. A player with runs on both is compared within, by swapping that player's two builds. `horizon`
    defaults to the longest time that both builds' curves reach. Mantel 1966, Cancer Chemother. Rep.
    50:163-170 (log-rank); Royston & Parmar 2013, BMC Med. Res. Methodol. 13:152 (restricted mean). Raises
    ValueError as `kaplan_meier` does.
    """
    duration, died = checked(duration, died)
    is_b = np.asarray(is_b, dtype=bool)
    labels, number = numbered(player)
    players = labels.size
    runs_a = np.bincount(number[~is_b], minlength=players)
    runs_b = np.bincount(number[is_b], minlength=players)
    only_a, only_b, both = (np.flatnonzero(c) for c in ((runs_b == 0), (runs_a == 0), (runs_a > 0) & (runs_b > 0)))
    count_a, count_b = only_a.size + both.size, only_b.size + both.size
    if count_a == 0 or count_b == 0:
        nothing = Estimate(None, level=level)
        return Comparison(nothing, None, None, 0.0, 0.0, None, None, count_a, count_b, both.size)
    if horizon is None:
        horizon = float(min(duration[~is_b].max(), duration[is_b].max()))

    # What a player did under the first-named build, and under the other: (players, times) at risk and dying.
    order = np.r_[only_a, only_b, both]
    place = np.empty(players, int)
    place[order] = np.arange(players)
    as_a = ~is_b | np.isin(number, only_b)  # a player of one build: all runs follow the player's label
    times = np.unique(duration[died])
    risk_1, dying_1 = _by_player(duration, died, place[number], as_a, times, players)
    risk_2, dying_2 = _by_player(duration, died, place[number], ~as_a, times, players)
    table, complete = arrangements(only_a.size, only_b.size, both.size, most, np.random.default_rng(seed))
    risk_a, dying_a = table @ risk_1 + (1 - table) @ risk_2, table @ dying_1 + (1 - table) @ dying_2
    risk, dying = (risk_1 + risk_2).sum(axis=0), (dying_1 + dying_2).sum(axis=0)

    z = _log_rank(risk_a, dying_a, risk, dying)
    gap = _mean(risk - risk_a, dying - dying_a, times, horizon) - _mean(risk_a, dying_a, times, horizon)
    mean_a, mean_b, error, freedom = _difference(duration, died, number, is_b, horizon, players)
    margin = t_critical(level, freedom) * error if freedom else np.nan
    testable = table.shape[0] > 2 and times.size > 0
    return Comparison(
        Estimate.around(mean_b - mean_a, margin, level=level, players=players),
        mean_a,
        mean_b,
        horizon,
        float(-z[0]),
        p_value(z, complete) if testable else None,
        p_value(gap, complete) if testable else None,
        count_a,
        count_b,
        both.size,
    )


def _by_player(
    duration: Array, died: Array, row: Array, mine: Array, times: Array, players: int
) -> tuple[Array, Array]:
    """(players, times) runs at risk just before, and deaths at, each time; only the rows marked `mine`."""
    left = np.searchsorted(times, duration[mine], side="right")  # at risk at the first `left` times
    ends = np.zeros((players, times.size + 1))
    np.add.at(ends, (row[mine], left), 1)
    at_risk = ends[:, ::-1].cumsum(axis=1)[:, ::-1][:, 1:]
    deaths = np.zeros((players, times.size))
    dead = mine & died
    np.add.at(deaths, (row[dead], np.searchsorted(times, duration[dead])), 1)
    return at_risk, deaths


def _log_rank(risk_a: Array, dying_a: Array, risk: Array, dying: Array) -> Array:
    """Standardised observed less expected deaths in A, one value an arrangement; (arrangements, times)
    inputs.
    """
    share = risk_a / risk
    with np.errstate(invalid="ignore", divide="ignore"):
        variance = np.where(risk > 1, dying * share * (1 - share) * (risk - dying) / (risk - 1), 0.0).sum(axis=1)
    excess = (dying_a - dying * share).sum(axis=1)
    return np.where(variance > 0, excess / np.sqrt(np.where(variance > 0, variance, 1.0)), 0.0)


def _mean(risk: Array, dying: Array, times: Array, horizon: float) -> Array:
    """Restricted mean up to `horizon` of each arrangement's curve."""
    with np.errstate(invalid="ignore", divide="ignore"):
        step = np.where(risk > 0, 1 - dying / risk, 1.0)
    curve = np.hstack([np.ones((step.shape[0], 1)), np.cumprod(step, axis=1)])
    widths = np.diff(np.r_[0.0, np.minimum(times, horizon), horizon])
    return curve @ widths


def _difference(
    duration: Array, died: Array, number: Array, is_b: Array, horizon: float, players: int
) -> tuple[float, float, float, float]:
    """(mean A, mean B, standard error of the difference by player, degrees of freedom or 0 where there is
    no interval).
    """
    influence, means, counts = np.zeros(players), [], []
    spread = []
    for sign, mine in ((-1, ~is_b), (1, is_b)):
        mean, own = mean_influence(duration[mine], died[mine], number[mine], horizon, players)
        count = int(np.unique(number[mine]).size)
        means.append(mean)
        counts.append(count)
        # Small-sample factor of a mean of `count` players.
        own = own * np.sqrt(count / max(count - 1, 1))
        spread.append(float(np.sum(own**2)))
        influence += sign * own
    variance = float(np.sum(influence**2))
    if min(counts) < 2 or sum(spread) == 0:
        return means[0], means[1], np.sqrt(variance), 0.0
    # Welch-Satterthwaite for two groups of players; where all are the same players it comes to their number
    # less one.
    shared = np.intersect1d(number[is_b], number[~is_b]).size
    freedom = sum(spread) ** 2 / sum(s**2 / (c - 1) for s, c in zip(spread, counts, strict=True))
    freedom = min(freedom, max(min(counts) - 1, 1) if shared else freedom)
    return means[0], means[1], float(np.sqrt(variance)), float(freedom)
