"""Event packets that wait for their dictionary."""

import numpy as np

from ingest.wire.dictionary import Dictionary
from ingest.wire.power_up import PowerUp, Span

HELD_BYTES = 1 << 20


class Waiting:
    """The packets of one power-up that wait, at most HELD_BYTES of them."""

    def __init__(self) -> None:
        self.bytes = 0
        self.packets = 0
        self.from_, self.until = 0, 0  # where the first and the last of them begin
        self._parts: list[tuple[np.ndarray, ...]] = []  # data, length, offset, tick

    def take(
        self, data: np.ndarray, start: np.ndarray, length: np.ndarray, offset: np.ndarray, tick: np.ndarray
    ) -> np.ndarray:
        """(packets,) bool, of which there was room."""
        room = np.cumsum(length) + self.bytes <= HELD_BYTES
        if room.any():
            start, length, offset = start[room], length[room], offset[room]
            shift = np.arange(int(length.sum())) - np.repeat(np.cumsum(length) - length, length)
            self.from_ = self.from_ if self._parts else int(offset[0])
            self.until = int(offset[-1])
            self._parts.append((data[np.repeat(start, length) + shift], length, offset, tick[room]))
            self.bytes += int(length.sum())
            self.packets += len(length)
        return room

    def span(self, up: PowerUp, dictionary: Dictionary) -> Span:
        """All of them, ready to be read."""
        data, length, offset, tick = (np.concatenate(column) for column in zip(*self._parts, strict=True))
        whole = np.concatenate([data, np.zeros(16, np.uint8)])
        return Span(up, dictionary, whole, np.cumsum(length) - length, length, offset, tick)
