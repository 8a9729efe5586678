"""Where packets of events go on coming and the console's clock does not go on: nothing can be timed there."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ingest.wire.power_up import Span

# So many packets of events at one tick, one after the other. A line of 1,000,000 baud carries 20 such packets in 9 ms,
# less than the longest tick there may be (10 ms), and a game would have to log 200 events in it. Arithmetic, no source.
LEAST_PACKETS = 20
# Stops that are kept; a hostile log could claim one every 400 bytes.
MOST_STOPS = 1000


@dataclass
class Stop:
    """The clock of a power-up (its number) stood at `tick` while `packets` of events came, from `offset` on."""

    power_up: int
    tick: int
    clock_hz: int
    offset: int
    packets: int


class StoppedClock:
    """Follows the spans of one log, in their order."""

    def __init__(self) -> None:
        self.stops: list[Stop] = []
        self._last = Stop(-1, 0, 0, 0, 0)

    def take(self, span: Span) -> None:
        """Takes the next span; what stands still at its end may go on standing in the next."""
        for tick, offset, packets in _stretches(span.tick, span.offset):
            last = self._last
            if (last.power_up, last.tick) != (span.power_up.number, tick):
                last = self._last = Stop(span.power_up.number, tick, span.dictionary.clock_hz, offset, 0)
            was, last.packets = last.packets, last.packets + packets
            if was < LEAST_PACKETS <= last.packets and len(self.stops) < MOST_STOPS:
                self.stops.append(last)


def _stretches(tick: np.ndarray, offset: np.ndarray) -> Iterator[tuple[int, int, int]]:
    """(tick, first offset, packets) of the stretches of one tick: the first, the last, and those long enough."""
    if not len(tick):
        return
    begins = np.flatnonzero(np.diff(tick, prepend=tick[0] - 1))
    lengths = np.diff(begins, append=len(tick))
    told = lengths >= LEAST_PACKETS
    told[0] = told[-1] = True
    for i in np.flatnonzero(told).tolist():
        yield int(tick[begins[i]]), int(offset[begins[i]]), int(lengths[i])
