"""How long players were alive where on the screen, added up while a log is read: no finding reads every position."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from ingest.study.writer import Pile, Writer
from ingest.vocabulary import EventRole, FieldRole
from ingest.wire.dictionary import Dictionary
from ingest.wire.records import Batch

# Cells along the short side of the screen: what the death map of a large study is drawn in.
CELLS_ACROSS = 16
# A position stands for the time until the next one, but never for longer than this.
LONGEST_US = 1_000_000
_FAR = 1 << 62
_FAR_PX = np.uint32(1 << 30)
# Where a table of every visit and cell would be larger than this, those that occur are sorted instead.
_MOST_BINS = 1 << 21
# A run of more positions (hours of play), or of more changes of stage and life, is handed over in parts.
_MOST_HELD = 500_000
_MOST_SCOPES = 10_000


class Scope(NamedTuple):
    """From the event `order` of a batch on (at `at_us`), events belong to this run and stage (-1: none).

    `life` is the key of the life, 0 while the player is dead or the game stands still.
    """

    order: int
    at_us: int
    run: int
    stage: int
    life: int


class Grid(NamedTuple):
    """Square cells of `size` pixels; places off the screen count for the nearest cell."""

    width: int
    height: int

    @property
    def size(self) -> int:
        return max(1, min(self.width, self.height) // CELLS_ACROSS)

    @property
    def columns(self) -> int:
        return max(1, -(-self.width // self.size))

    @property
    def cells(self) -> int:
        return self.columns * max(1, -(-self.height // self.size))

    def number(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """The cell of each point, counted along the rows."""
        # Numbers of 32 bits without a sign would turn negative below.
        x, y = (np.minimum(place, _FAR_PX) if place.dtype == np.uint32 else place for place in (x, y))
        column, row = x.astype(np.int32), y.astype(np.int32)
        np.clip(column, 0, max(0, self.width - 1), out=column)
        np.clip(row, 0, max(0, self.height - 1), out=row)
        column //= self.size
        row //= self.size
        row *= self.columns
        row += column
        return row


class Places:
    """Adds up one capture. A run is handed over when it is over, since its last life may still be taken back."""

    def __init__(self, writer: Writer):
        self._ready = Pile(writer, "places", ("stage_id",))
        self._grid = Grid(0, 0)
        # Of the present run: its scopes, and the cell and time of each position, in the order of the scopes.
        self._scopes: list[Scope] = []
        self._lengths = np.zeros(0, np.int64)
        self._cell, self._us = np.zeros(0, np.int32), np.zeros(0, np.int64)
        self._none: set[tuple[int, int]] = set()  # (run, life) of lives that turned out to have been none
        self._last: tuple[int, int] | None = None  # (time, cell) of the last position, which has no end yet

    def take(
        self,
        dictionary: Dictionary | None,
        batch: Batch | None,
        scopes: Sequence[Scope],
        taken_back: set[tuple[int, int]],
    ) -> None:
        """The positions of a batch (None: the log is over).

        `scopes`: the one in force at the end of the last batch, then each change; `taken_back`: (run, life) of lives
        that were none.
        """
        self._none |= taken_back
        grid = self._grid if dictionary is None else Grid(*dictionary.screen)
        if grid != self._grid:
            # Another dictionary is another power-up: nothing goes on from the last one.
            self._count(np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0, np.int64), scopes[:2])
            self._grid, self._last = grid, None
        found = None if dictionary is None or batch is None else _positions(dictionary, batch)
        if found is None:
            none = np.zeros(0, np.int64)
            self._count(none, none, none, scopes)
        else:
            order, at_us, x, y = found
            self._count(order, at_us, self._grid.number(x, y), scopes)
        self._none &= {(scope.run, scope.life) for scope in self._scopes}

    def flush(self) -> None:
        """Writes what is ready."""
        self._ready.flush()

    def _count(self, order: np.ndarray, at_us: np.ndarray, cell: np.ndarray, scopes: Sequence[Scope]) -> None:
        if self._last is not None:
            order = np.append(-1, order)
            at_us, cell = np.append(self._last[0], at_us), np.append(self._last[1], cell)
        first = np.searchsorted(order, [scope.order for scope in scopes])
        first[0] = 0
        lengths = np.diff(first, append=len(order))
        following = np.append(at_us[1:], _FAR)[: len(at_us)]
        # The last position of a scope lasts until the scope ends.
        following[first[1:][first[1:] > 0] - 1] = _FAR
        ends = np.array([*(scope.at_us for scope in scopes[1:]), _FAR])
        us = np.minimum(following, np.repeat(ends, lengths), out=following)
        us -= at_us
        np.clip(us, 0, LONGEST_US, out=us)
        self._last = None
        if lengths[-1]:
            self._last = int(at_us[-1]), int(cell[-1])
            cell, us = cell[:-1], us[:-1]
            lengths[-1] -= 1
        known = [*self._scopes, *scopes]
        lengths = np.concatenate((self._lengths, lengths))
        cell, us = np.concatenate((self._cell, cell)), np.concatenate((self._us, us))
        run = scopes[-1].run
        over = len(known)
        if run >= 0 and len(us) <= _MOST_HELD and over <= _MOST_SCOPES:
            # The present run's scopes are the last ones.
            while over and known[over - 1].run == run:
                over -= 1
        split = int(lengths[:over].sum())
        if split:
            self._hand_over(known[:over], lengths[:over], cell[:split], us[:split])
        self._scopes, self._lengths = known[over:], lengths[over:]
        self._cell, self._us = cell[split:].copy(), us[split:].copy()

    def _hand_over(self, scopes: Sequence[Scope], lengths: np.ndarray, cell: np.ndarray, us: np.ndarray) -> None:
        # The first visit stands for all that does not count.
        visits: dict[tuple[int, int], int] = {(-1, -1): 0}
        visit_of = [
            visits.setdefault((s.run, s.stage), len(visits))
            if s.run >= 0 and s.life > 0 and (s.run, s.life) not in self._none
            else 0
            for s in scopes
        ]
        cells = self._grid.cells
        key = np.repeat(np.array(visit_of) * cells, lengths)
        key += cell
        if len(visits) * cells > _MOST_BINS:
            used, key = np.unique(key, return_inverse=True)
            sums = np.bincount(key, us)
        else:
            sums = np.bincount(key, us)
            used = np.flatnonzero(sums)
            sums = sums[used]
        counts = (used >= cells) & (sums > 0)
        used, sums = used[counts], sums[counts]
        visit, place = np.divmod(used, cells)
        run, stage = np.array(list(visits), np.int64).T
        size = self._grid.size
        self._ready.add(
            {
                "run_id": run.take(visit),
                "stage_id": stage.take(visit),
                "x": (place % self._grid.columns * size).astype(np.uint16),
                "y": (place // self._grid.columns * size).astype(np.uint16),
                "cell_px": np.broadcast_to(np.uint16(size), len(used)),
                "alive_us": sums.astype(np.int64),
            }
        )


def _positions(dictionary: Dictionary, batch: Batch) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray] | None:
    """Order, time, x and y of the positions of a batch, in the order of the log."""
    found = []
    for events in batch.by_kind:
        kind = dictionary.kinds[events.kind]
        x, y = kind.field(FieldRole.X), kind.field(FieldRole.Y)
        if kind.role == EventRole.POSITION and x is not None and y is not None:
            at = events.order, events.at_us, events.fields[x.name], events.fields[y.name]
            if any(isinstance(column, np.ma.MaskedArray) for column in at):
                # Who is nowhere was not there.
                there = ~(np.ma.getmaskarray(at[2]) | np.ma.getmaskarray(at[3]))
                at = at[0][there], at[1][there], np.asarray(at[2])[there], np.asarray(at[3])[there]
            found.append(at)
    if len(found) < 2:
        return found[0] if found else None
    order, at_us, x_px, y_px = (np.concatenate(column) for column in zip(*found, strict=True))
    sorted_ = np.argsort(order)
    return order[sorted_], at_us[sorted_], x_px[sorted_].astype(np.int64), y_px[sorted_].astype(np.int64)
