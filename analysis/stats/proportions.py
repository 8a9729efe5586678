"""Shares of yes/no outcomes: textbook intervals for independent trials, and the by-player one for
headlines.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from analysis.stats.betabinomial import pooled_interval
from analysis.stats.clusters import sums
from analysis.stats.estimate import LEVEL, Estimate, normal_critical, t_critical
from analysis.stats.jackknife import MOST_PLAYERS, deviations

Array = np.ndarray


@dataclass(frozen=True)
class Share(Estimate):
    """A share with its interval by player.

    low and high are None where no interval can be had (no trials, or a single player).
    """

    trials: int = 0


def wilson(successes: float, trials: float, level: float = LEVEL) -> tuple[float, float]:
    """Wilson's score interval of a share, 0 to 1. Wilson 1927, J. Am. Stat. Assoc. 22:209-212; independent trials.

    Raises ValueError without trials.
    """
    if trials <= 0:
        raise ValueError("an interval needs at least one trial")
    low, high = _wilson(np.asarray(successes, float), trials, level)
    return float(np.maximum(0.0, low)), float(np.minimum(1.0, high))


def _wilson(successes: Array, trials: float, level: float) -> tuple[Array, Array]:
    z = normal_critical(level)
    share, spread = successes / trials, z * z / trials
    middle = (share + spread / 2) / (1 + spread)
    margin = z / (1 + spread) * np.sqrt(share * (1 - share) / trials + spread / (4 * trials))
    return middle - margin, middle + margin


def newcombe(before: Array, of: float, after: Array, others: float, level: float = LEVEL) -> tuple[Array, Array]:
    """Limits of the difference of two shares, after / others less before / of; counts of independent trials.

    Hybrid of Wilson intervals: method 10 of Newcombe 1998, Stat. Med. 17:873-890.
    """
    (low_a, high_a), (low_b, high_b) = _wilson(before, of, level), _wilson(after, others, level)
    a, b = before / of, after / others
    return b - a - np.hypot(b - low_b, high_a - a), b - a + np.hypot(high_b - b, a - low_a)


def clopper_pearson(successes: int, trials: int, level: float = LEVEL) -> tuple[float, float]:
    """The exact interval of a share, 0 to 1. Clopper & Pearson 1934, Biometrika 26:404-413; independent trials."""
    tail, fails = (1 - level) / 2, trials - successes
    low = special.betaincinv(successes, fails + 1, tail) if successes else 0.0
    high = special.betaincinv(successes + 1, fails, 1 - tail) if fails else 1.0
    return float(low), float(high)


def share_by_player(successes: Array, trials: Array, player: Array, level: float = LEVEL) -> Share:
    """The pooled share of successes with an interval that treats players, not trials, as independent.

    successes, trials: (n,) counts, any number of rows a player; player: (n,) labels. The estimand is the share of
    trials (of notes, deaths, runs), not the mean over players. One procedure from 0 to 1: the profile likelihood of a
    beta-binomial with a t(players - 1) cut, carried over to the pooled share (`pooled_interval`), so that the value is
    always inside and the interval nowhere jumps. For many players Wilson's, with as many trials as the jackknife's
    variance says that these are worth. Raises ValueError where successes exceed trials.
    """
    hits, tries = sums(player, successes, trials)
    hits, tries = hits[tries > 0], tries[tries > 0]
    if np.any(hits > tries) or np.any(hits < 0):
        raise ValueError("more successes than trials")
    players, total = int(tries.size), float(tries.sum())
    if players == 0:
        return Share(None, level=level, unit="share")
    p = float(hits.sum() / total)
    low, high = None, None
    if players > MOST_PLAYERS:
        apart = deviations(p, (hits.sum() - hits) / (total - tries))
        # Trials that are worth as much as these, were they independent; of all alike, the players.
        worth = min(p * (1 - p) / max(float(np.sum(apart**2)), 1e-300), total) if 0 < p < 1 else players
        low, high = wilson(p * worth, worth, level)
    elif players > 1:
        low, high = pooled_interval(hits, tries, t_critical(level, players - 1))
    return Share(p, low, high, level, players, unit="share", trials=int(total))
