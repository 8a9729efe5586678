"""The age of a life in a segment: how long it has been alive since it came in, or began there after a death.

Danger mostly grows with it, so that deaths are more alike than chance would have them: hazards stand at places, enemies
gather. It is counted in parts of the time that the segment usually takes, and in classes.
"""

import numpy as np

from analysis.models.data import Visits

_FROM = np.array([0.0, 1 / 6, 2 / 6, 3 / 6, 4 / 6, 5 / 6, 1.0, 1.5])
_TO = np.array([*_FROM[1:], np.inf])
AGES = np.array([*((_FROM + _TO)[:-1] / 2), 1.75])  # of each class: its middle


def usual_s(visits: Visits, segments: int) -> np.ndarray:
    """(segments,) the mean time of the visits that were cleared, else that of the longest; without any, the others'."""
    usual = np.zeros(segments)
    for j in range(segments):
        own = visits.segment == j
        cleared = own & visits.cleared
        if own.any():
            usual[j] = visits.alive_s[cleared].mean() if cleared.any() else visits.alive_s[own].max()
    seen = usual > 0
    return np.where(seen, usual, usual[seen].mean() if seen.any() else 1.0)


def by_age(begin: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Cuts times alive, from one age to another, where a class ends: (row of the time, class, how long).

    The last piece of each time is the one in which it ends, also where it is of no length.
    """
    within = np.minimum(end[:, None], _TO) - np.maximum(begin[:, None], _FROM)
    last = np.searchsorted(_TO, end)
    row, of = np.nonzero((within > 0) | (np.arange(len(_TO)) == last[:, None]))
    return row, of, np.maximum(within[row, of], 0.0)
