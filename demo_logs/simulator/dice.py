"""Chance that falls the same way on every machine.

The logs must come out byte for byte again, so nothing here or in a world's frame loop uses a mathematical library
function whose last bit may differ between platforms: only the four operations and square roots, which IEEE 754 fixes.
"""

from random import Random


class Dice:
    """A stream of chance of its own for each name, so that one person's luck never moves another's."""

    def __init__(self, *name: object):
        self._random = Random("/".join(map(str, name)))

    def uniform(self, low: float = 0.0, high: float = 1.0) -> float:
        """A number from `low` to `high`."""
        return low + (high - low) * self._random.random()

    def normal(self, mean: float = 0.0, sd: float = 1.0) -> float:
        """Close to a normal deviate: the sum of twelve uniforms (tails end at 6 sd)."""
        draw = self._random.random
        total = 0.0
        for _ in range(12):  # not sum(): Python 3.12 changed how it rounds
            total += draw()
        return mean + sd * (total - 6.0)

    def happens(self, chance: float) -> bool:
        """True with this chance."""
        return self._random.random() < chance

    def below(self, count: int) -> int:
        """A whole number from 0 to `count` - 1."""
        return min(count - 1, int(self._random.random() * count))


def clamp(value: float, low: float, high: float) -> float:
    """`value`, or the nearer end of the range it left."""
    return low if value < low else high if value > high else value


def swing(phase: float) -> float:
    """A triangle wave of period 1 between -1 and 1, 0 at phase 0."""
    phase -= phase // 1.0
    return 4 * phase if phase < 0.25 else 2 - 4 * phase if phase < 0.75 else 4 * phase - 4
