"""Parts of a game, and stretches of a life, compared on how often the same players have events in them."""

import numpy as np
from scipy import optimize, special

from analysis.stats.clusters import numbered
from analysis.stats.estimate import LEVEL, margin_by_player
from analysis.stats.players.learning import LogRateRatio

Array = np.ndarray
_STEEPEST = 8.0
# How far players may differ: from a coefficient of variation of 5 down to 1 %.
_LEAST, _MOST = np.log(1 / 5.0**2), np.log(1 / 0.01**2)


def inside_against_outside(
    events: Array, exposure: Array, inside: Array, player: Array, level: float = LEVEL
) -> LogRateRatio | None:
    """How many times as often a player has events inside as outside: `ratio`. inside: (n,) bool; as `slope_on_part`."""
    return slope_on_part(events, exposure, np.asarray(inside, float), player, level=level)


def slope_on_part(
    events: Array, exposure: Array, covariate: Array, player: Array, kind: Array | None = None, level: float = LEVEL
) -> LogRateRatio | None:
    """The slope of the log rate of events on what a part has more or less of, its level or speed.

    events, exposure, covariate, player: (n,); kind: (n,) labels, each with a rate of its own, for instance the build.
    Events of a player ~ Poisson(u rate exp(slope covariate) exposure), u ~ gamma with mean 1, by maximum likelihood
    (Greenwood & Yule 1920, J. R. Stat. Soc. 83:255-279). To which part a player comes, and for how long, hangs on the
    deaths before, and a run ends by one. That leaves this likelihood as it is: a product over time, each factor given
    what went before. With a level of its own for each player it would not: a player's chance is taken for the player's
    level, and with few runs each the last part reached seems deadly (METHODS.md). Cluster-robust with t(players - 1),
    with no less than the variance of the model; players: those with events who met two values of the covariate. None
    without such, where all events lie at one end, or nobody has two: one event each does not tell how far players
    differ. A spread beyond a standard deviation of one is thought unlikely beforehand, as for `spread_of_players`.
    """
    count, time, x = (np.asarray(of, float) for of in (events, exposure, covariate))
    _, of_kind = numbered(np.zeros(count.size) if kind is None else np.asarray(kind))
    # A kind without events would have no rate, and tells nothing of the slope.
    use = (time > 0) & (np.bincount(of_kind, weights=count * (time > 0), minlength=1)[of_kind] > 0)
    count, time, x = count[use], time[use], x[use]
    names, who = numbered(np.asarray(player)[use])
    most, least = np.full(len(names), -np.inf), np.full(len(names), np.inf)
    np.maximum.at(most, who, x)
    np.minimum.at(least, who, x)
    total = np.bincount(who, weights=count, minlength=len(names))
    players = int(np.sum((most > least) & (total > 0)))
    died = x[count > 0]
    if not players or total.max() < 2 or (np.ptp(died) == 0 and died[0] in (x.min(), x.max())):
        return None
    _, of_kind = numbered(of_kind[use])
    around = (of_kind[:, None] == np.arange(of_kind.max() + 1)).astype(float)
    # The slope, then a rate of each kind.
    row = np.column_stack([x - x.mean(), around])

    def by_player(of: Array) -> Array:
        added = np.zeros((len(names), *of.shape[1:]))
        np.add.at(added, who, of)
        return added

    own = by_player(count[:, None] * row)

    def parts(at: Array) -> tuple[float, Array, Array, Array, Array]:
        """Log likelihood, (players, columns) its slopes; of each row and each player what is expected, and how much
        more the player has."""
        size, mean = np.exp(at[-1]), time * np.exp(row @ at[:-1])
        all_of = np.bincount(who, weights=mean, minlength=len(names))
        known = (size + total) / (size + all_of)
        height = own @ at[:-1] - (size + total) * np.log1p(all_of / size)
        height += special.gammaln(size + total) - special.gammaln(size) - total * at[-1]
        by_size = special.digamma(size + total) - special.digamma(size) - np.log1p(all_of / size) + 1 - known
        slopes = own - known[:, None] * by_player(mean[:, None] * row)
        return float(height.sum()), np.column_stack([slopes, size * by_size]), mean, all_of, known

    def falling(at: Array) -> tuple[float, Array]:
        height, slopes, *_ = parts(at)
        slopes, variance = slopes.sum(axis=0), np.exp(-at[-1])
        slopes[-1] += variance / 2
        return variance / 2 - height, -slopes

    rate = np.log(count @ around / (time @ around))
    start = np.r_[0.0, rate, 1.0]
    limits = [(-_STEEPEST, _STEEPEST), *((one - 12, one + 12) for one in rate), (_LEAST, _MOST)]
    options = {"ftol": 1e-13, "maxiter": 500}
    best = optimize.minimize(falling, start, jac=True, method="L-BFGS-B", bounds=limits, options=options).x
    if abs(best[0]) >= _STEEPEST:
        return None
    if players < 2:
        return LogRateRatio(float(best[0]), level=level, players=players)
    _, slopes, mean, all_of, known = parts(best)
    first = by_player(mean[:, None] * row)
    information = (row * (mean * known[who])[:, None]).T @ row
    information -= (first * (known / (np.exp(best[-1]) + all_of))[:, None]).T @ first
    inverse = np.linalg.inv(information)[0]
    robust = np.sqrt(players / (players - 1) * np.sum((slopes[:, :-1] @ inverse) ** 2))
    error = max(float(robust), float(np.sqrt(inverse[0])))
    return LogRateRatio.around(float(best[0]), margin_by_player(error, players, level), level=level, players=players)


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
