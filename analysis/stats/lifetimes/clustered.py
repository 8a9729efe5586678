"""Survival of many runs by few players: the curve with an interval that treats players, not runs, as
independent.
"""

from dataclasses import dataclass

import numpy as np

from analysis.stats.clusters import numbered
from analysis.stats.estimate import LEVEL, Estimate
from analysis.stats.jackknife import by_player, critical_by_player, deviations, feasible, survival_without
from analysis.stats.lifetimes.survival import (
    KaplanMeier,
    checked,
    kaplan_meier,
    log_log_limits,
    quantile,
    restricted_mean,
    step_value,
)
from analysis.stats.proportions import wilson

Array = np.ndarray


@dataclass(frozen=True)
class SurvivalCurve:
    """The share surviving beyond each time of a death, with its interval by player.

    All columns have one length; `error` is the standard error of `surviving` by player. low and high are
    NaN where a single player gives no interval. `longest` (players,) is each player's longest duration,
    sorted: nothing is known beyond the last of them.
    """

    time: Array
    surviving: Array
    low: Array
    high: Array
    error: Array
    at_risk: Array
    deaths: Array
    players_at_risk: Array
    players: int
    runs: int
    last: float
    longest: Array
    level: float

    def at(self, time: float) -> tuple[float, float, float]:
        """(surviving, low, high) at one time; NaN beyond what was observed."""
        if not self.time.size or time < self.time[0]:
            if time > self.last:
                return np.nan, np.nan, np.nan
            # Nobody has died yet: Wilson with the players who were still playing.
            playing = self.players - int(np.searchsorted(self.longest, time, side="left"))
            return (1.0, wilson(playing, playing, self.level)[0], 1.0) if self.players > 1 else (1.0, np.nan, np.nan)
        step = (float(step_value(self.time, c, self.last, time)) for c in (self.surviving, self.low, self.high))
        return tuple(np.nan if time > self.last and self.surviving[-1] > 0 else v for v in step)  # type: ignore[return-value]

    def median(self) -> Estimate:
        """None where the curve or its limit never comes down to one half."""
        middle, low, high = (
            quantile(self.time, np.nan_to_num(curve, nan=1.0)) for curve in (self.surviving, self.low, self.high)
        )
        return Estimate(middle, low, high, self.level, self.players)


def survival_by_player(duration: Array, died: Array, player: Array, level: float = LEVEL) -> SurvivalCurve:
    """Kaplan-Meier with an interval by player on the complementary log-log scale.

    duration: (n,) non-negative; died: (n,) bool, False where censored; player: (n,) labels. The estimand is the share
    of lives (of whatever the rows are), not the mean over players. The variance is that of the jackknife over players,
    the critical value Student's with the effective number of players less one (`jackknife.py`).
    A limit is raised to that of the score interval with the effective number of runs where that is higher
    (the lower limit only for S >= 1/2): the plain one is too short above where S is small, and too long below
    where S is large. Where S is 1 or 0, Wilson's interval with n = the players seen that
    far (still playing, or dead by then). Williams 1995, Lifetime Data Analysis 1:171-186; Rothman 1978, J.
    Chronic Diseases 31:557-560 (effective number). Coverage: METHODS.md. Raises ValueError as `kaplan_meier`
    does.
    """
    duration, died = checked(duration, died)
    labels, number = numbered(player)
    curve = kaplan_meier(duration, died)
    players = int(labels.size)
    variance = log_variance(curve, duration, died, number, players)
    longest = np.zeros(players)
    np.maximum.at(longest, number, duration)
    ends = np.sort(longest)
    playing = players - np.searchsorted(ends, curve.time, side="left")
    low, high = np.full(curve.time.size, np.nan), np.full(curve.time.size, np.nan)
    if players > 1:
        low, high = _limits(curve, variance, critical_by_player(np.bincount(number), level))
        ever = np.bincount(number, weights=died, minlength=players) > 0
        seen = playing + np.searchsorted(np.sort(longest[ever]), curve.time, side="left")
        for i in np.flatnonzero(curve.surviving <= 0):
            low[i], high[i] = wilson(0, int(seen[i]), level)
    error = curve.surviving * np.sqrt(np.where(curve.surviving > 0, variance, 0.0))
    return SurvivalCurve(
        curve.time,
        curve.surviving,
        low,
        high,
        error,
        curve.at_risk,
        curve.deaths,
        playing,
        players,
        curve.runs,
        curve.last,
        ends,
        level,
    )


def _limits(curve: KaplanMeier, variance: Array, critical: float) -> tuple[Array, Array]:
    """Limits by player inside (0, 1); NaN where S is 0."""
    s = np.where(curve.surviving > 0, curve.surviving, 0.5)
    # Players who agree exactly would have a variance of nothing; runs within a player are then no evidence of
    # it.
    variance = np.where(variance > 1e-9 * curve.greenwood, variance, curve.greenwood)
    variance = np.where(curve.surviving > 0, variance, 1.0)
    low, high = log_log_limits(curve.surviving, variance, critical)
    effective = (1 - s) / (s * variance)
    spread = critical**2 / effective
    margin = critical * np.sqrt(s * (1 - s) / effective + spread**2 / 4 / critical**2)
    score_low, score_high = (s + spread / 2 - margin) / (1 + spread), (s + spread / 2 + margin) / (1 + spread)
    low = np.where(s >= 0.5, np.maximum(low, score_low), low)
    return low, np.where(curve.surviving > 0, np.maximum(high, score_high), high)


def log_variance(curve: KaplanMeier, duration: Array, died: Array, number: Array, players: int) -> Array:
    """The variance by player of log S at each step of `curve`: the jackknife's, or the linearised one of many players.

    number: (n,) player numbers from 0. Where S is 0 it is 0.
    """
    if not feasible(players, curve.time.size):
        return robust_log_variance(curve, duration, died, number, players) * players / (players - 1)
    without = survival_without(*by_player(duration, died, number, curve.time, players))
    # Of S itself, as one curve without a player may come down to 0.
    variance = np.sum(deviations(curve.surviving, without) ** 2, axis=0) if players > 1 else np.zeros(curve.time.size)
    return np.where(curve.surviving > 0, variance / np.where(curve.surviving > 0, curve.surviving, 1.0) ** 2, 0.0)


def robust_log_variance(curve: KaplanMeier, duration: Array, died: Array, number: Array, players: int) -> Array:
    """The cluster-robust variance of log S at each step of `curve` (infinitesimal jackknife, no small-sample
    factor).

    number: (n,) player numbers from 0. The influence of a player on log S(t) is
    A(t) = sum over own deaths up to t of 1/(n-d), less the sum over own runs of H(min(T, t)), H = cumulative
    d/(n(n-d)). Written as F - Y H(t) with F and Y changing only where one of the player's runs ends, the sum
    of A^2 over players needs one pass over the sorted runs instead of a matrix of players and times.
    """
    n, d = curve.at_risk.astype(float), curve.deaths.astype(float)
    left = np.where(n > d, n - d, np.inf)  # where S falls to 0 the log has no variance; Wilson takes over
    total_h = np.cumsum(d / (n * left))
    order = np.lexsort((duration, number))
    t, own = duration[order], number[order]
    step_at_or_before = np.searchsorted(curve.time, t, side="right")
    h_at_end = np.r_[0.0, total_h][step_at_or_before]
    own_death = np.zeros(t.size)
    dead = died[order]
    own_death[dead] = 1.0 / left[step_at_or_before[dead] - 1]
    change = own_death - h_at_end

    size = np.bincount(own, minlength=players)
    first = np.r_[0, np.cumsum(size)[:-1]]
    running = np.cumsum(change)
    before_player = np.r_[0.0, running][first]
    f_after = running - before_player[own]
    f_before = f_after - change
    y_after = (first + size)[own] - np.arange(t.size) - 1.0
    y_before = y_after + 1.0

    from_step = np.searchsorted(curve.time, t, side="left")

    def total(change_of_square: Array) -> Array:
        return np.cumsum(
            np.bincount(from_step, weights=change_of_square, minlength=curve.time.size + 1)[: curve.time.size]
        )

    ff = total(f_after**2 - f_before**2)
    fy = total(f_after * y_after - f_before * y_before)
    yy = float(np.sum(size.astype(float) ** 2)) + total(y_after**2 - y_before**2)
    return np.maximum(ff - 2 * total_h * fy + total_h**2 * yy, 0.0)


def restricted_mean_by_player(
    duration: Array, died: Array, player: Array, horizon: float, level: float = LEVEL
) -> Estimate:
    """The mean of the durations cut at `horizon`, with an interval as of `survival_by_player`; none for one player.

    The limits are kept within 0 and `horizon`, where the mean must lie.
    """
    duration, died = checked(duration, died)
    labels, number = numbered(player)
    mean, apart = mean_deviations(duration, died, number, horizon, labels.size)
    margin = critical_by_player(np.bincount(number), level) * np.sqrt(np.sum(apart**2))
    if np.isnan(margin):
        return Estimate(mean, level=level, players=labels.size)
    return Estimate(mean, max(0.0, mean - margin), min(horizon, mean + margin), level, labels.size)


def mean_deviations(duration: Array, died: Array, number: Array, horizon: float, players: int) -> tuple[float, Array]:
    """The restricted mean, and (players,) whose sum of squares is its variance by player.

    number: (n,) player numbers from 0 to players - 1, each with a row.
    """
    curve = kaplan_meier(duration, died)
    if players < 2:
        return restricted_mean(curve.time, curve.surviving, horizon), np.zeros(players)
    if not feasible(players, curve.time.size):
        mean, influence = mean_influence(duration, died, number, horizon, players)
        return mean, influence * np.sqrt(players / (players - 1))
    without = survival_without(*by_player(duration, died, number, curve.time, players))
    width = np.diff(np.r_[0.0, np.minimum(curve.time, horizon), horizon])
    whole, each = (np.c_[np.ones(len(s)), s] @ width for s in (curve.surviving[None], without))
    return float(whole[0]), deviations(float(whole[0]), each)


def mean_influence(duration: Array, died: Array, number: Array, horizon: float, players: int) -> tuple[float, Array]:
    """The restricted mean and each player's influence on it, (players,): they sum to 0, their squares to
    its variance.
    """
    curve = kaplan_meier(duration, died)
    mean = restricted_mean(curve.time, curve.surviving, horizon)
    edges = np.r_[np.minimum(curve.time, horizon), horizon]
    area = np.sum(np.diff(edges) * curve.surviving) - np.r_[0.0, np.cumsum(np.diff(edges) * curve.surviving)][:-1]
    left = curve.at_risk - curve.deaths
    # S / (n - d) with both zero: the last death takes nothing that the area after it has not lost already.
    unit = np.where(left > 0, area / np.where(left > 0, left, 1), 0.0)
    gone = np.cumsum(unit * curve.deaths / curve.at_risk)
    reached = np.searchsorted(curve.time, duration, side="right")
    own = np.r_[0.0, gone][reached]
    own[died] -= unit[reached[died] - 1]
    return mean, np.bincount(number, weights=own, minlength=players)
