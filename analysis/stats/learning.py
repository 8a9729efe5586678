"""Do players get better from attempt to attempt, compared with themselves?"""

from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats

from analysis.stats.clusters import numbered

Array = np.ndarray


@dataclass(frozen=True)
class Learning:
    """The rate of events falls as attempt ** exponent. `per_doubling` = 2 ** exponent: 0.9 is a tenth fewer
    with twice the attempts. Limits by player; None where fewer than two players have events in more than one
    attempt."""

    exponent: float
    low: float | None
    high: float | None
    players: int

    @property
    def per_doubling(self) -> float:
        return float(2.0**self.exponent)


def learning_within_players(
    events: Array, exposure: Array, attempt: Array, player: Array, level: float = 0.95
) -> Learning | None:
    """The slope of the log rate on the log attempt, each player having a level of its own.

    events, exposure, attempt, player: (n,), one row an attempt, attempts from 1. Fixed-effects Poisson: given
    a player's total the counts are multinomial, so that players who stop early are compared with themselves
    only, and not with those who went on (Hausman, Hall & Griliches 1984, Econometrica 52:909-938).
    Cluster-robust with t(players - 1). None where nobody has events and two different attempts. A power law
    of practice is the usual form: Newell & Rosenbloom 1981 (from memory); no more is claimed for it here than
    a slope.
    """
    events, exposure = np.asarray(events, dtype=float), np.asarray(exposure, dtype=float)
    use = exposure > 0
    labels, number = numbered(np.asarray(player)[use])
    count, time, x = events[use], exposure[use], np.log(np.asarray(attempt, dtype=float)[use])
    total = np.bincount(number, weights=count, minlength=labels.size)
    span = np.zeros(labels.size)
    np.maximum.at(span, number, x)
    least = np.full(labels.size, np.inf)
    np.minimum.at(least, number, x)
    tells = (total > 0) & (span > least)
    if not tells.any():
        return None

    def parts(slope: float) -> tuple[Array, Array]:
        """(score, information) of each player."""
        weight = time * np.exp(slope * x)
        share = weight / np.bincount(number, weights=weight)[number]
        mean = np.bincount(number, weights=share * x)
        square = np.bincount(number, weights=share * x * x)
        return np.bincount(number, weights=count * x) - total * mean, total * (square - mean**2)

    def score(slope: float) -> float:
        return float(parts(slope)[0][tells].sum())

    if score(-8) <= 0 or score(8) >= 0:
        return None  # all events in everybody's first, or last, attempt: no finite slope
    slope = float(optimize.brentq(score, -8, 8))
    players = int(tells.sum())
    if players < 2:
        return Learning(slope, None, None, players)
    scores, information = (part[tells] for part in parts(slope))
    error = np.sqrt(players / (players - 1) * np.sum(scores**2)) / np.sum(information)
    reach = float(stats.t.ppf(0.5 + level / 2, players - 1)) * error
    return Learning(slope, float(slope - reach), float(slope + reach), players)
