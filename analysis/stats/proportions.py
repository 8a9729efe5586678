"""Shares of yes/no outcomes: textbook intervals for independent trials, and the by-player one for
headlines.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from analysis.stats.betabinomial import profile_interval
from analysis.stats.clusters import sums
from analysis.stats.estimate import LEVEL, Estimate, normal_critical, t_critical

Array = np.ndarray
# From this share on (or below its mirror) the robust logit interval is too short: see METHODS.md.
EXTREME = 0.9


@dataclass(frozen=True)
class Share(Estimate):
    """A share with its interval by player. `method` is "robust_logit", "beta_binomial", "wilson_players" or
    "none".

    low and high are None where no interval can be had (no trials, or a single player).
    """

    trials: int = 0
    method: str = "none"


def wilson(successes: float, trials: float, level: float = LEVEL) -> tuple[float, float]:
    """Wilson's score interval of a share, 0 to 1. Wilson 1927, J. Am. Stat. Assoc. 22:209-212; independent trials.

    Raises ValueError without trials.
    """
    if trials <= 0:
        raise ValueError("an interval needs at least one trial")
    z = normal_critical(level)
    share, spread = successes / trials, z * z / trials
    middle = (share + spread / 2) / (1 + spread)
    margin = z / (1 + spread) * np.sqrt(share * (1 - share) / trials + spread / (4 * trials))
    return float(max(0.0, middle - margin)), float(min(1.0, middle + margin))


def clopper_pearson(successes: int, trials: int, level: float = LEVEL) -> tuple[float, float]:
    """The exact interval of a share, 0 to 1. Clopper & Pearson 1934, Biometrika 26:404-413; independent trials."""
    tail, fails = (1 - level) / 2, trials - successes
    low = special.betaincinv(successes, fails + 1, tail) if successes else 0.0
    high = special.betaincinv(successes + 1, fails, 1 - tail) if fails else 1.0
    return float(low), float(high)


def share_by_player(successes: Array, trials: Array, player: Array, level: float = LEVEL) -> Share:
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
        return Share(None, level=level, unit="share")
    p = float(hits.sum() / total)

    def share(low: float | None, high: float | None, method: str) -> Share:
        return Share(p, low, high, level, players, unit="share", trials=int(total), method=method)

    if players == 1:
        return share(None, None, "none")
    critical = t_critical(level, players - 1)
    if 1 - EXTREME < p < EXTREME:
        residual = hits - tries * p
        error = np.sqrt(players / (players - 1) * np.sum(residual**2)) / total
        # Players that agree to the last trial would give a width of nothing: no less than the binomial's.
        error = max(error, np.sqrt(p * (1 - p) / total))
        margin = critical * error / (p * (1 - p))
        logit = np.log(p / (1 - p))
        low, high = 1 / (1 + np.exp(-(logit - margin))), 1 / (1 + np.exp(-(logit + margin)))
        return share(float(low), float(high), "robust_logit")
    low, high = profile_interval(hits, tries, critical)
    if p in (0.0, 1.0):
        wide_low, wide_high = wilson(p * players, players, level)
        return share(min(low, wide_low), max(high, wide_high), "wilson_players")
    return share(low, high, "beta_binomial")
