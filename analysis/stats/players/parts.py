"""Parts of a game, and stretches of a life, compared on how often the same players have events in them."""

import numpy as np
from scipy import optimize, special

from analysis.stats.clusters import numbered
from analysis.stats.estimate import LEVEL, margin_by_player
from analysis.stats.players.learning import LogRateRatio

Array = np.ndarray
# How far players may differ: from a coefficient of variation of 5 down to 1 %.
_LEAST, _MOST = np.log(1 / 5.0**2), np.log(1 / 0.01**2)


def inside_against_outside(
    events: Array, exposure: Array, inside: Array, player: Array, level: float = LEVEL
) -> LogRateRatio | None:
    """How many times as often (`ratio`) a player has events inside as outside.

    events, exposure, player: (n,); inside: (n,) bool. Events of a player ~ Poisson(u rate ratio^inside exposure), u ~
    gamma with mean 1, by maximum likelihood (Greenwood & Yule 1920, J. R. Stat. Soc. 83:255-279). To which part a
    player comes, and for how long, hangs on the deaths before, and a run ends by one. That leaves this likelihood as it
    is: a product over time, each factor given what went before. With a level of its own for each player it would not: a
    player's chance is taken for the player's level, and with one run each the last part reached seems deadly
    (METHODS.md). Cluster-robust with t(players - 1), with no less than the variance of the model; players: those with
    events who were inside and outside. None without such, or where nobody has events inside, or outside.
    """
    events, exposure = np.asarray(events, float), np.asarray(exposure, float)
    use = exposure > 0
    names, who = numbered(np.asarray(player)[use])
    cell = 2 * who + np.asarray(inside, bool)[use]
    count, time = (
        np.bincount(cell, weights=of[use], minlength=2 * len(names)).reshape(-1, 2) for of in (events, exposure)
    )
    players = int(np.sum((time > 0).all(axis=1) & (count.sum(axis=1) > 0)))
    if not players or (count.sum(axis=0) == 0).any():
        return None
    total = count.sum(axis=1)

    def parts(at: Array) -> tuple[float, Array, Array, Array]:
        """Log likelihood, (players, 3) its slopes, and what is expected of each player: in all, inside."""
        size = np.exp(at[2])
        within = time[:, 1] * np.exp(at[0] + at[1])
        all_of = time[:, 0] * np.exp(at[0]) + within
        known = (size + total) / (size + all_of)
        height = total * at[0] + count[:, 1] * at[1] - (size + total) * np.log1p(all_of / size)
        height += special.gammaln(size + total) - special.gammaln(size) - total * at[2]
        by_size = special.digamma(size + total) - special.digamma(size) - np.log1p(all_of / size) + 1 - known
        slopes = np.column_stack([total - known * all_of, count[:, 1] - known * within, size * by_size])
        return float(height.sum()), slopes, all_of, within

    def falling(at: Array) -> tuple[float, Array]:
        height, slopes, _, _ = parts(at)
        return -height, -slopes.sum(axis=0)

    rate = np.log(count.sum(axis=0) / time.sum(axis=0))
    start = np.array([rate[0], rate[1] - rate[0], 1.0])
    around = [(start[0] - 8, start[0] + 8), (start[1] - 8, start[1] + 8), (_LEAST, _MOST)]
    best = optimize.minimize(falling, start, jac=True, method="L-BFGS-B", bounds=around, options={"ftol": 1e-13}).x
    _, slopes, all_of, within = parts(best)
    if players < 2:
        return LogRateRatio(float(best[1]), level=level, players=players)
    size = np.exp(best[2])
    weight = (size + total) / (size + all_of)
    by_rate, both = (np.sum(weight * size * of / (size + all_of)) for of in (all_of, within))
    by_ratio = np.sum(weight * within * (1 - within / (size + all_of)))
    inverse = np.linalg.inv(np.array([[by_rate, both], [both, by_ratio]]))
    robust = np.sqrt(players / (players - 1) * np.sum((slopes[:, :2] @ inverse[1]) ** 2))
    error = max(float(robust), float(np.sqrt(inverse[1, 1])))
    return LogRateRatio.around(float(best[1]), margin_by_player(error, players, level), level=level, players=players)


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
