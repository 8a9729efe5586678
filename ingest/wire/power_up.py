"""What a log is made of once its packets are in order: power-ups, spans of readable packets, and damage."""

from collections import deque
from dataclasses import dataclass, field, replace

import numpy as np

from ingest.wire.dictionary import Dictionary
from ingest.wire.framing import Damage


@dataclass
class Harm:
    """One piece of damage: where in the log, what, and how many packets (or events, where dropped).

    `ticks`: the time between the packets around what is missing, if it is known.
    """

    offset: int
    reason: Damage
    count: int = 1
    ticks: int | None = None


@dataclass
class PowerUp:
    """One power-up of the console.

    `settings`: (byte offset, values) from each settings packet that changed some; whoever has used one takes it off.
    """

    number: int
    offset: int
    nonce: int | None = None
    dictionary_id: int | None = None
    whole: bool = False  # its first packet is one of settings, as a power-up begins
    lacks: int | None = None  # that id, where some packets could not be read for want of it
    first_tick: int = 0
    last_tick: int = 0
    end_offset: int | None = None
    torn: bool = False  # what came behind it has lost its beginning: perhaps this one has lost its end there
    settings: deque[tuple[int, tuple[int | None, ...]]] = field(default_factory=deque)
    packets: int = 0
    # Offsets and ticks of some packets, for the drift against the PC.
    clock: list[tuple[np.ndarray, np.ndarray]] = field(default_factory=list)


@dataclass(frozen=True)
class Span:
    """Event packets of one power-up whose dictionary is known, ready to be read. `tick` is of each first event."""

    power_up: PowerUp
    dictionary: Dictionary
    data: np.ndarray
    start: np.ndarray
    length: np.ndarray
    offset: np.ndarray
    tick: np.ndarray

    def part(self, which: slice) -> "Span":
        """Some of the packets."""
        return replace(
            self, start=self.start[which], length=self.length[which], offset=self.offset[which], tick=self.tick[which]
        )
