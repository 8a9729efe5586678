"""Two builds compared: log-rank by permutation of players, and the difference of restricted means by player."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from analysis.stats.clusters import numbered
from analysis.stats.estimate import LEVEL, Estimate, t_critical
from analysis.stats.jackknife import by_player, effective_players
from analysis.stats.lifetimes.clustered import mean_deviations
from analysis.stats.lifetimes.survival import checked
from analysis.stats.permuting import arrangements, p_value

Array = np.ndarray


@dataclass(frozen=True)
class Comparison:
    """Build B against build A.

    difference: restricted mean of B less that of A, in the unit of the durations, with its interval by player
    (None with fewer than two players a build) and its p, both of one t. log_rank_z: positive where B's runs die sooner
    than A's, its p by permutation of players. players_both: players who played both builds, compared within themselves.
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
    """Log-rank, permuting players, and restricted-mean difference between two builds, with the jackknife over players.

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
    risk_1, dying_1 = by_player(duration[as_a], died[as_a], place[number][as_a], times, players)
    risk_2, dying_2 = by_player(duration[~as_a], died[~as_a], place[number][~as_a], times, players)
    table, complete = arrangements(only_a.size, only_b.size, both.size, most, np.random.default_rng(seed))
    risk_a, dying_a = table @ risk_1 + (1 - table) @ risk_2, table @ dying_1 + (1 - table) @ dying_2
    risk, dying = (risk_1 + risk_2).sum(axis=0), (dying_1 + dying_2).sum(axis=0)

    z = _log_rank(risk_a, dying_a, risk, dying)
    mean_a, mean_b, error, freedom = _difference(duration, died, number, is_b, horizon)
    # The interval and its p are one procedure: p is below 1 - level where, and only where, the interval leaves out 0.
    told = freedom > 0 and error > 0
    margin = t_critical(level, freedom) * error if told else np.nan
    testable = table.shape[0] > 2 and times.size > 0
    return Comparison(
        Estimate.around(mean_b - mean_a, margin, level=level, players=players),
        mean_a,
        mean_b,
        horizon,
        float(-z[0]),
        p_value(z, complete) if testable else None,
        2 * float(special.stdtr(freedom, -abs(mean_b - mean_a) / error)) if told else None,
        count_a,
        count_b,
        both.size,
    )


def _log_rank(risk_a: Array, dying_a: Array, risk: Array, dying: Array) -> Array:
    """Standardised observed less expected deaths in A, one value an arrangement; (arrangements, times)
    inputs.
    """
    share = risk_a / risk
    with np.errstate(invalid="ignore", divide="ignore"):
        variance = np.where(risk > 1, dying * share * (1 - share) * (risk - dying) / (risk - 1), 0.0).sum(axis=1)
    excess = (dying_a - dying * share).sum(axis=1)
    return np.where(variance > 0, excess / np.sqrt(np.where(variance > 0, variance, 1.0)), 0.0)


def _difference(
    duration: Array, died: Array, number: Array, is_b: Array, horizon: float
) -> tuple[float, float, float, float]:
    """(mean A, mean B, standard error of the difference by player, degrees of freedom or 0 where there is
    no interval).
    """
    apart, means, effective, spread = np.zeros(int(number.max()) + 1), [], [], []
    for sign, mine in ((-1, ~is_b), (1, is_b)):
        who, own = np.unique(number[mine], return_inverse=True)
        mean, own_apart = mean_deviations(duration[mine], died[mine], own, horizon, who.size)
        means.append(mean)
        effective.append(max(effective_players(np.bincount(own)), min(who.size, 2.0)))
        spread.append(float(np.sum(own_apart**2)))
        # A player of both builds moves both means: what they have in common cancels.
        apart[who] += sign * own_apart
    error = float(np.sqrt(np.sum(apart**2)))
    if min(effective) < 2 or sum(spread) == 0:
        return means[0], means[1], error, 0.0
    # Welch-Satterthwaite for two groups of players; where all are the same players it comes to their number
    # less one.
    shared = np.intersect1d(number[is_b], number[~is_b]).size
    freedom = sum(spread) ** 2 / sum(s**2 / (e - 1) for s, e in zip(spread, effective, strict=True))
    return means[0], means[1], error, float(min(freedom, min(effective) - 1) if shared else freedom)
