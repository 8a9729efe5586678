"""Shares of yes/no outcomes: textbook intervals for independent trials, and the by-player one for
headlines.
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.stats.betabinomial import profile_interval
from analysis.stats.clusters import sums
from analysis.stats.quantiles import normal_reach, t_reach

Array = np.ndarray
# From this share on (or below its mirror) the robust logit interval is too short: see METHODS.md.
EXTREME = 0.9


@dataclass(frozen=True)
class Share:
    """A share with its interval by player. `method` is "robust_logit", "beta_binomial", "wilson_players" or
    "none".

    low and high are None where no interval can be had (no trials, or a single player).
    """

    value: float | None
    low: float | None
    high: float | None
    players: int
    trials: int
    method: str


def wilson(successes: float, trials: float, level: float = 0.95) -> tuple[float, float]:
    """Wilson's score interval. Wilson 1927, J. Am. Stat. Assoc. 22:209-212; independent trials."""
    if trials <= 0:
        raise ValueError("an interval needs at least one trial")
    z = normal_reach(level)
    share, spread = successes / trials, z * z / trials
    middle = (share + spread / 2) / (1 + spread)
    reach = z / (1 + spread) * np.sqrt(share * (1 - share) / trials + spread / (4 * trials))
    return float(max(0.0, middle - reach)), float(min(1.0, middle + reach))


def clopper_pearson(successes: int, trials: int, level: float = 0.95) -> tuple[float, float]:
    """The exact binomial interval. Clopper & Pearson 1934, Biometrika 26:404-413; independent trials."""
    interval = stats.binomtest(int(successes), int(trials)).proportion_ci(level, method="exact")
    return float(interval.low), float(interval.high)


def share_by_player(successes: Array, trials: Array, player: Array, level: float = 0.95) -> Share:
    """The pooled share of successes with an interval that treats players, not trials, as independent.

    successes, trials: (n,) counts, any number of rows a player; player: (n,) labels.
    Robust (sandwich) variance of the pooled share on the logit scale with t(players - 1); where the share is
    at least 0.9 or at most 0.1, the profile likelihood of a beta-binomial; at 0 and 1 the wider of that and
    Wilson with n = players. Raises ValueError where successes exceed trials.
    """
    hits, tries = sums(player, successes, trials)
    hits, tries = hits[tries > 0], tries[tries > 0]
    if np.any(hits > tries) or np.any(hits < 0):
        raise ValueError("more successes than trials")
    players, total = int(tries.size), float(tries.sum())
    if players == 0:
        return Share(None, None, None, 0, 0, "none")
    p = float(hits.sum() / total)
    if players == 1:
        return Share(p, None, None, 1, int(total), "none")
    critical = t_reach(level, players)
    if 1 - EXTREME < p < EXTREME:
        residual = hits - tries * p
        error = np.sqrt(players / (players - 1) * np.sum(residual**2)) / total
        # Players that agree to the last trial would give a width of nothing: no less than the binomial's.
        error = max(error, np.sqrt(p * (1 - p) / total))
        reach = critical * error / (p * (1 - p))
        logit = np.log(p / (1 - p))
        low, high = 1 / (1 + np.exp(-(logit - reach))), 1 / (1 + np.exp(-(logit + reach)))
        return Share(p, float(low), float(high), players, int(total), "robust_logit")
    low, high = profile_interval(hits, tries, critical)
    if p in (0.0, 1.0):
        wide_low, wide_high = wilson(p * players, players, level)
        return Share(p, min(low, wide_low), max(high, wide_high), players, int(total), "wilson_players")
    return Share(p, low, high, players, int(total), "beta_binomial")
