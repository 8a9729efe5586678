"""Parts of a game, and stretches of a life, compared on how often the same players have events in them."""

from collections.abc import Callable

import numpy as np
from scipy import optimize, special

from analysis.stats.clusters import numbered
from analysis.stats.estimate import LEVEL, margin_by_player
from analysis.stats.players.log_rate_ratio import LogRateRatio

Array = np.ndarray
_STEEPEST = 8.0
# How far players may differ: from a coefficient of variation of 5 down to a tenth.
_LEAST, _MOST = np.log(1 / 5.0**2), np.log(1 / 0.1**2)


def inside_against_outside(
    events: Array, exposure: Array, inside: Array, player: Array, level: float = LEVEL
) -> LogRateRatio | None:
    """How many times as often a player has events inside as outside: `ratio`. inside: (n,) bool; as `slope_on_part`."""
    return slope_on_part(events, exposure, np.asarray(inside, float), player, level=level)


def slope_on_part(
    events: Array, exposure: Array, covariate: Array, player: Array, kind: Array | None = None, level: float = LEVEL
) -> LogRateRatio | None:
    """The slope of the log rate of events on what a part has more or less of, its level or speed. See below."""
    found = slopes_on_parts(events, exposure, np.asarray(covariate, float)[:, None], player, kind, level)
    return None if found is None else found[0]


def slopes_on_parts(
    events: Array, exposure: Array, covariates: Array, player: Array, kind: Array | None = None, level: float = LEVEL
) -> list[LogRateRatio] | None:
    """The slopes of the log rate of events on what parts have more or less of, each with the others held fixed.

    events, exposure, player: (n,); covariates: (n, k); kind: (n,) labels, each with a rate of its own, for instance the
    build. Events of a player ~ Poisson(u rate exp(slopes covariates) exposure), u ~ gamma with mean 1, by maximum
    likelihood (Greenwood & Yule 1920, J. R. Stat. Soc. 83:255-279). To which part a player comes, and for how long,
    hangs on the deaths before, and a run ends by one. That leaves this likelihood as it is: a product over time, each
    factor given what went before. With a level of its own for each player it would not: a player's chance is taken for
    the player's level, and with few runs each the last part reached seems deadly (METHODS.md). Cluster-robust with
    t(players - 1), with no less than the variance of the model; players: those with events who met two values of the
    covariate. None without such, where all events lie at one end of a covariate, where covariates cannot be told apart,
    or where nobody has two: one event each does not tell how far players differ. A spread beyond a standard deviation
    of one is thought unlikely beforehand, as for `spread_of_players`.
    """
    count, time, x = (np.asarray(of, float) for of in (events, exposure, covariates))
    _, of_kind = numbered(np.zeros(count.size) if kind is None else np.asarray(kind))
    # A kind without events would have no rate, and tells nothing of the slope.
    use = (time > 0) & (np.bincount(of_kind, weights=count * (time > 0), minlength=1)[of_kind] > 0)
    count, time, x = count[use], time[use], x[use]
    names, who = numbered(np.asarray(player)[use])
    most, least = np.full((len(names), x.shape[1]), -np.inf), np.full((len(names), x.shape[1]), np.inf)
    np.maximum.at(most, who, x)
    np.minimum.at(least, who, x)
    total = np.bincount(who, weights=count, minlength=len(names))
    players = np.sum((most > least) & (total > 0)[:, None], axis=0)
    if not players.all() or total.max() < 2 or _at_one_end(x, count).any():
        return None
    _, of_kind = numbered(of_kind[use])
    around = (of_kind[:, None] == np.arange(of_kind.max() + 1)).astype(float)
    # The slopes, then a rate of each kind.
    row = np.column_stack([x - x.mean(axis=0), around])
    if np.linalg.matrix_rank(row) < row.shape[1]:
        return None

    def by_player(of: Array) -> Array:
        added = np.zeros((len(names), *of.shape[1:]))
        np.add.at(added, who, of)
        return added

    own = by_player(count[:, None] * row)

    def parts(at: Array) -> tuple[float, Array]:
        """Log likelihood, and (players, columns) its slopes."""
        size, mean = np.exp(at[-1]), time * np.exp(row @ at[:-1])
        all_of = np.bincount(who, weights=mean, minlength=len(names))
        known = (size + total) / (size + all_of)
        height = own @ at[:-1] - (size + total) * np.log1p(all_of / size)
        height += special.gammaln(size + total) - special.gammaln(size) - total * at[-1]
        by_size = special.digamma(size + total) - special.digamma(size) - np.log1p(all_of / size) + 1 - known
        scores = own - known[:, None] * by_player(mean[:, None] * row)
        return float(height.sum()), np.column_stack([scores, size * by_size])

    def falling(at: Array) -> tuple[float, Array]:
        height, by_one = parts(at)
        steep, variance = by_one.sum(axis=0), np.exp(-at[-1])
        steep[-1] += variance / 2
        return variance / 2 - height, -steep

    rate = np.log(count @ around / (time @ around))
    slopes = x.shape[1]
    start = np.r_[np.zeros(slopes), rate, 1.0]
    limits = [*slopes * [(-_STEEPEST, _STEEPEST)], *((one - 12, one + 12) for one in rate), (_LEAST, _MOST)]
    options = {"ftol": 1e-13, "maxiter": 500}
    best = optimize.minimize(falling, start, jac=True, method="L-BFGS-B", bounds=limits, options=options).x
    if np.any(np.abs(best[:slopes]) >= _STEEPEST):
        return None
    # How far players differ is in doubt too, and the slopes hang on it. As a function of the variance, which may be at
    # its least, where the likelihood still falls.
    bent = _second_derivatives(lambda at: falling(at)[1], best)
    bent[-1, -1] += falling(best)[1][-1]
    inverse = np.linalg.inv(bent)[:slopes]
    scores = parts(best)[1]
    robust = np.sum(((scores - scores.mean(axis=0)) @ inverse.T) ** 2, axis=0)
    model = np.diag(inverse)
    return [_limited(*one, level) for one in zip(best, robust, model, players, strict=False)]


def _at_one_end(x: Array, count: Array) -> Array:
    """(columns,) whether all events lie at the least or at the highest value of a covariate."""
    with_events = x[count > 0]
    return np.all(with_events == x.min(axis=0), axis=0) | np.all(with_events == x.max(axis=0), axis=0)


def _second_derivatives(slopes: Callable[[Array], Array], at: Array) -> Array:
    """(k, k) by central differences of the first ones."""
    steps = 1e-4 * np.eye(at.size)
    found = np.array([slopes(at + step) - slopes(at - step) for step in steps]) / 2e-4
    return (found + found.T) / 2


def _limited(slope: float, robust: float, model: float, players: int, level: float) -> LogRateRatio:
    """A slope with its limits, from the variance by player and that of the model; without, where one player tells."""
    if players < 2:
        return LogRateRatio(float(slope), level=level, players=int(players))
    error = float(np.sqrt(max(players / (players - 1) * robust, model)))
    margin = margin_by_player(error, int(players), level)
    return LogRateRatio.around(float(slope), margin, level=level, players=int(players))


def part_against_rest(
    events: Array, exposure: Array, part: Array, of: object, player: Array, level: float = LEVEL
) -> LogRateRatio | None:
    """How many times as often (`ratio`) a player has events in one part as in all the others together.

    events, exposure, part, player: (n,); of: the part looked at. The limits are corrected for the number of parts
    (Bonferroni), so that the part that stands out most may be picked. Otherwise as `inside_against_outside`.
    """
    parts = int(np.unique(np.asarray(part)[np.asarray(exposure) > 0]).size)
    corrected = 1 - (1 - level) / max(parts, 1)
    return inside_against_outside(events, exposure, np.asarray(part) == of, player, corrected)
