"""What went over the line while the console's ring was full: bytes came into it as fast as they went out."""

from dataclasses import dataclass

import numpy as np


@dataclass
class Stretch:
    """So much came while each packet told of more dropped events than the one before it."""

    packets: int = 0
    bytes: int = 0
    ticks: int = 0


class FullRing:
    """Follows the packets of one log, in their order; keeps a Stretch for each dictionary id (None: not known)."""

    def __init__(self) -> None:
        self.by_dictionary: dict[int | None, Stretch] = {}
        self._power_up = -1
        self._offset, self._losing = 0, False  # of the packet before

    def take(
        self, power_up: int, dictionary_id: int | None, offset: np.ndarray, passed: np.ndarray, lost: np.ndarray
    ) -> None:
        """The next packets of a power-up: where they begin in the log, ticks since the packet before each, and how
        many more events were dropped than that packet told of."""
        if power_up != self._power_up:
            self._power_up, self._losing = power_up, False
        losing = lost > 0
        on = losing & np.append(self._losing, losing[:-1])
        if on.any():
            one = self.by_dictionary.setdefault(dictionary_id, Stretch())
            one.packets += int(on.sum())
            one.bytes += int(np.diff(offset, prepend=self._offset)[on].sum())
            one.ticks += int(passed[on].sum())
        self._offset, self._losing = int(offset[-1]), bool(losing[-1])
