"""How much players differ: the spread of their rates around the common one, free of chance."""

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from analysis.stats.clusters import sums
from analysis.stats.estimate import LEVEL, Estimate, t_critical
from analysis.stats.laws import gamma_quantile

Array = np.ndarray
_HALVINGS = 50
_NONE = 1e-8  # a variance below is none


@dataclass(frozen=True)
class Spread:
    """Events of player i ~ Poisson(exposure_i * rate * u_i), u_i ~ gamma with mean 1 and variance sd^2.

    sd with its profile-likelihood limits; `ratio` is the rate of a player at the 90th percentile over that of
    one at the 10th. own: (players,) each player's rate, drawn towards the common one as far as its data are
    thin; low, high: the posterior limits of it, for all that is not known of `rate` and `sd`. labels: (players,).
    """

    rate: float
    sd: Estimate
    ratio: float
    labels: Array
    own: Array
    low: Array
    high: Array


def spread_of_players(events: Array, exposure: Array, player: Array, level: float = LEVEL) -> Spread | None:
    """Gamma-Poisson (negative binomial) maximum likelihood; None with fewer than three players or without
    events.

    events, exposure: (n,) any number of rows a player. Greenwood & Yule 1920, J. R. Stat. Soc. 83:255-279. The profile
    is cut at t(players - 1)^2 / 2, as from few players the spread comes out too small. Own rates are averaged over
    the spreads that the profile allows: at the best one alone, players of whom little is known seem well known, and
    all the same where that one is 0.
    """
    labels = np.unique(np.asarray(player))
    count, time = sums(player, events, exposure)
    labels, count, time = labels[time > 0], count[time > 0], time[time > 0]
    if labels.size < 3 or count.sum() == 0:
        return None

    def profile(variance: Array) -> tuple[Array, Array]:
        """(greatest ln likelihood, ln rate there) of each variance: where the slope, which only falls, comes to 0."""
        variance = variance[:, None]
        low = np.full(variance.shape, np.log(count.sum() / time.sum()) - 5)
        high = low + 10
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            mean = time * np.exp(middle)
            rises = np.sum((count - mean) / (1 + variance * mean), axis=1, keepdims=True) > 0
            low, high = np.where(rises, middle, low), np.where(rises, high, middle)
        size = 1 / np.maximum(variance, _NONE)
        spread = special.gammaln(count + size) - special.gammaln(size) - size * np.log1p(variance * mean)
        spread += count * (np.log(mean) - np.log(size + mean))
        return np.where(variance < _NONE, count * np.log(mean) - mean, spread).sum(axis=1), middle[:, 0]

    grid = np.r_[0.0, np.geomspace(1e-3, 25.0, 80)]
    height, log_rates = profile(grid)
    best = int(np.argmax(height))
    variance = _refined(lambda v: profile(np.array([v]))[0][0], grid, best)
    (top,), (log_rate,) = profile(np.array([variance]))
    cut = top - t_critical(level, labels.size - 1) ** 2 / 2
    inside = grid[height >= cut]
    low, high = (inside.min(), inside.max()) if inside.size else (variance, variance)
    rate = float(np.exp(log_rate))
    mean, square = _own_rates(count, time, grid, height - top, log_rates)
    shape, scale, tail = mean**2 / square, square / mean, (1 - level) / 2
    own = mean, gamma_quantile(tail, shape, scale), gamma_quantile(1 - tail, shape, scale)
    if variance < 1e-6:
        sd = Estimate(0.0, 0.0, float(np.sqrt(high)), level, labels.size)
        return Spread(rate, sd, 1.0, labels, *own)
    few, many = (float(gamma_quantile(share, 1 / variance, variance)) for share in (0.1, 0.9))
    ratio = many / max(few, 1e-9)
    middle, least, most = (float(np.sqrt(v)) for v in (variance, low, high))
    sd = Estimate(middle, least, most, level, labels.size)
    return Spread(rate, sd, ratio, labels, *own)


def _own_rates(count: Array, time: Array, variance: Array, height: Array, log_rate: Array) -> tuple[Array, Array]:
    """(mean, variance) of each player's rate over the spreads of the grid, each as likely as its profile says.

    height: log-likelihood of each less the best one, at the common rate `log_rate`. Spreads beyond a standard
    deviation of one or two are thought unlikely beforehand (half-normal, 1).
    """
    sd = np.sqrt(variance)
    weight = np.exp(height - sd**2 / 2) * np.gradient(sd)
    weight /= weight.sum()
    v, rate = np.maximum(variance, 1e-9)[:, None], np.exp(log_rate)[:, None]
    shape, scale = count + 1 / v, 1 / (1 / (v * rate) + time)
    own = shape * scale
    # The common rate is an estimate too; a player's own follows it as far as it is drawn towards it.
    information = np.sum(time * rate / (1 + v * time * rate), axis=1, keepdims=True)
    common = (scale / (v * rate)) ** 2 * shape**2 * scale**2 / information
    mean = weight @ own
    return mean, weight @ (shape * scale**2 + common + own**2) - mean**2


def _refined(value, grid: Array, best: int) -> float:  # type: ignore[no-untyped-def]
    """The maximum between the neighbours of the best grid point."""
    if best == 0:
        return 0.0
    bounds = (grid[best - 1], grid[min(best + 1, grid.size - 1)])
    found = optimize.minimize_scalar(lambda v: -value(v), bounds=bounds, method="bounded")
    return float(found.x)
