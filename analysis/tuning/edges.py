"""Where the usual answer would mislead: steps too small to see, targets that exclude each other in this game."""

from collections.abc import Sequence

import numpy as np

from analysis.models.targets import Target

# Nothing that was looked at meets all targets with so much chance: they are said to exclude each other.
UNLIKELY = 0.05


def too_small(targets: Sequence[Target], now: np.ndarray, then: np.ndarray) -> bool:
    """Does the change move no target's median by as much as its tolerance? What the designers call close enough is no
    difference to them, and the plan finds next to no chance that a class would see it. now, then: (targets, draws)."""
    moved = np.abs(np.median(then, axis=1) - np.median(now, axis=1))
    return bool(np.all(moved < [t.tolerance for t in targets]))


class Reached:
    """Which of several targets the settings that were looked at meet."""

    def __init__(self, targets: Sequence[Target]):
        self._targets = tuple(targets)
        self._met: list[tuple[bool, ...]] = []
        self._most = 0.0

    def note(self, figures: np.ndarray) -> None:
        """One more setting; figures (targets, draws)."""
        close = np.array([t.miss(f) <= t.tolerance for t, f in zip(self._targets, figures, strict=True)])
        self._met.append(tuple(bool(met) for met in close.mean(axis=1) >= 0.5))
        self._most = max(self._most, float(close.all(axis=0).mean()))

    @property
    def exclude_each_other(self) -> bool:
        """Each target is met by some setting, and all together by none with more than a slight chance."""
        if len(self._targets) < 2 or not self._met:
            return False
        return bool(np.any(self._met, axis=0).all()) and self._most < UNLIKELY
