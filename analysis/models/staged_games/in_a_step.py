"""What becomes of lives in a step of the chain, by their age."""

from dataclasses import dataclass

import numpy as np

# Where so small a part goes in a step, its square is lost in single precision.
_SMALL = 0.03


@dataclass(frozen=True)
class Rates:
    """What becomes of lives in a step, (tiers, classes, B). death: deaths in it, of who is alive all the time.

    stayed, part: of who is here at its start, who is after it, and the mean during it. part_new: the mean during it of
    those who come in meanwhile; as large a `part` of them is left after it.
    """

    death: np.ndarray
    stayed: np.ndarray
    part: np.ndarray
    part_new: np.ndarray

    @classmethod
    def of(cls, death: np.ndarray, other: np.ndarray, variation: np.ndarray) -> "Rates":
        """death, other: deaths, and all else by which a state is left, in a step; variation: of its clear time."""
        out = death + other
        stayed = np.exp(-np.log1p(variation * out) / variation)
        # Where hardly anybody goes, by its series.
        series = (1 + variation) * (0.5 - (1 + 2 * variation) / 6 * out)
        part_new = np.where(out < _SMALL, series, (out + stayed - 1) / np.maximum(out, _SMALL) ** 2)
        part = 1 - part_new * out
        return cls(death, np.maximum(1 - part * out, 0.0), part, part_new)

    def some(self, first: int, end: int) -> "Rates":
        """Those of some classes."""
        return Rates(*(one[:, first:end] for one in (self.death, self.stayed, self.part, self.part_new)))


class Ages:
    """How danger goes with the age of a life: of the deaths that one from end to end meets, those in a step.

    Arrays (classes, B). power: (B,) of the age, for the deaths up to it. spread: (B,) of ln clear time.
    fresh: of lives that came into the segment, a class a step. later: of lives that began in it, in the steps after the
    one in which they did, the oldest first; they are half a step older than a whole number. young: twice what is met in
    the step in which they began, half of which is left for them on the average.
    """

    def __init__(self, power: np.ndarray, spread: np.ndarray, steps: int, kind: type):
        self.steps = steps
        self.power: np.ndarray = power.astype(kind)
        upto = np.concatenate([np.zeros((1, *self.power.shape), kind), self._met(np.arange(1, 2 * steps + 1) / 2)])
        self.fresh, self.later = np.diff(upto[::2], axis=0), np.diff(upto[1::2], axis=0)[::-1]
        self.young = 2 * self._met(np.ones(1)) / (1 + self.power)
        # The clear time's squared variation: of a step, so that the segment's is the wanted one.
        self.variation = np.maximum(steps * np.expm1(spread**2), 1e-6).astype(kind)

    def _met(self, steps: np.ndarray) -> np.ndarray:
        return np.exp(np.log(steps / self.steps).astype(self.power.dtype)[:, None] * self.power)
