"""Packets in, events out: the records of thousands of packets are found in lockstep (FORMAT.md, section 3)."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeVar

import numpy as np

from ingest.vocabulary import FieldRole
from ingest.wire.dictionary import Dictionary, Field, Kind
from ingest.wire.framing import CRC_BYTES, HEADER_BYTES, at_every_byte

Ticks = TypeVar("Ticks", int, np.ndarray)
_STEP_BYTES = (0, 1, 2, 4)
# By the tag of a record.
_STEP_WIDTH = np.array(_STEP_BYTES * 64)
_STEP_MASK = np.array([0, 0xFF, 0xFFFF, 0xFFFFFFFF] * 64, np.uint32)
# Records of a packet that are followed before those that are done are sorted out.
_STEPS = 4
# The last time that fits the study, with room to add two of them.
_MOST_US = 1 << 62
# Every such event is looked at to tell which kind is the most frequent.
_SAMPLE = 64
# What stands behind the last packet may be looked at, and is not used.
_PAD = 16
_TYPES = {"u8": "<u1", "i8": "<i1", "u16": "<u2", "i16": "<i2", "u32": "<u4", "i32": "<i4"}


@dataclass(frozen=True)
class Events:
    """The events of one kind in one batch. `order` counts within the batch, over all kinds.

    `at_us` counts from power-up, with `ago` and `ahead` applied. A column in which some field does not apply is masked.
    """

    kind: int
    order: np.ndarray
    at_us: np.ndarray
    fields: dict[str, np.ndarray]


@dataclass(frozen=True)
class Batch:
    """All events of some packets, by kind, and the packets that did not parse to their exact end.

    `tick` is when each was logged, in the order of the log.
    """

    tick: np.ndarray
    by_kind: list[Events]
    bad: np.ndarray  # indices of the packets
    _first: np.ndarray  # of each packet, the order of its first event
    _offset: np.ndarray

    def offset(self, order: np.ndarray) -> np.ndarray:
        """Where in the log the packets of these events begin."""
        return self._offset[np.searchsorted(self._first, order, side="right") - 1]

    def orders_at(self, offsets: Sequence[int]) -> list[int]:
        """The orders of the first events at or behind these places in the log (ascending), where there is one."""
        # Of those before the first packet one says it all.
        begin = max(0, bisect_right(offsets, self._offset[0]) - 1)
        within = offsets[begin : bisect_right(offsets, self._offset[-1])]
        packet = np.searchsorted(self._offset, np.asarray(within, np.int64))
        return self._first[packet[packet < len(self._first)]].tolist()


class RecordReader:
    """Reads event packets with one dictionary."""

    def __init__(self, dictionary: Dictionary):
        self._kinds = dictionary.kinds
        self._clock_hz = dictionary.clock_hz
        # Length of a record by its first byte; that of no kind, or of one not readable, reaches beyond every packet.
        self._lengths = np.full(256, 1 << 20)
        for number, kind in enumerate(dictionary.kinds):
            if not kind.readable:
                continue
            for w, step_bytes in enumerate(_STEP_BYTES):
                self._lengths[4 * number + w] = 1 + step_bytes + kind.width

    def read(
        self, data: np.ndarray, start: np.ndarray, length: np.ndarray, tick: np.ndarray, offset: np.ndarray
    ) -> Batch:
        """The events of the packets at `start` (ascending), whose first events happened at `tick`."""
        # Only the bytes of these packets are gone through: thousands of power-ups may share the batch that `data` is.
        data = data[start[0] : start[-1] + length[-1] + _PAD]
        start = start - start[0]
        where, good = self._find(data, start + HEADER_BYTES[data[start] & 15], start + length - CRC_BYTES)
        first = np.searchsorted(where, start)
        tag = data.take(where)
        where += 1
        step = at_every_byte(data, "<u4").take(where)
        step &= _STEP_MASK.take(tag)
        at_tick = np.cumsum(step, dtype=np.int64)
        before = np.append(0, at_tick)[first]
        at_tick += np.repeat(tick - before, np.diff(first, append=len(where)))
        where += _STEP_WIDTH.take(tag)  # now of the fields
        by_kind = []
        tag >>= 2
        for number, order in enumerate(_by_kind(tag, len(self._kinds))):
            if len(order):
                own = self._kinds[number]
                fields = _fields(data, where.take(order), own)
                shift = _shift(own.fields, fields)
                ticks = at_tick.take(order)
                at_us = microseconds(ticks if shift is None else ticks + shift, self._clock_hz)
                by_kind.append(Events(number, order, at_us, fields))
        return Batch(at_tick, by_kind, np.flatnonzero(~good), first, offset)

    def _find(self, data: np.ndarray, start: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Where each record of the good packets begins, in the order of the log, and which packets are good."""
        begins = np.zeros(len(data), bool)
        # Every packet is followed to its first byte beyond, the second of its CRC, and stays there.
        at, beyond = start, end + 1
        while len(at):
            for _ in range(_STEPS):
                begins[at] = True
                at = np.minimum(at + self._lengths.take(data.take(at)), beyond)
            on = at < beyond
            at, beyond = at[on], beyond[on]
        # Those whose records end where the packet does have been there.
        good = begins[end]
        begins[end] = begins[end + 1] = False
        where = np.flatnonzero(begins)
        if not good.all():
            where = where[good[np.searchsorted(start, where, side="right") - 1]]
        return where, good


def _by_kind(kind: np.ndarray, kinds: int) -> list[np.ndarray]:
    """Where each of the kinds stands in `kind`, in ascending order."""
    if not len(kind):
        return [np.zeros(0, np.int64)] * kinds
    # Most events are of one kind, as a rule: only the others need sorting. Which one it is matters for speed alone.
    most = int(np.bincount(kind[::_SAMPLE]).argmax())
    others = np.flatnonzero(kind != most)
    own = kind.take(others)
    sorted_ = np.argsort(own, kind="stable")
    bounds = np.searchsorted(own.take(sorted_), np.arange(kinds + 1))
    others = others.take(sorted_)
    found = [others[begin:end] for begin, end in pairwise(bounds.tolist())]
    found[most] = np.flatnonzero(kind == most)
    return found


def _shift(fields: tuple[Field, ...], values: dict[str, np.ndarray]) -> np.ndarray | None:
    """What `ago` or `ahead` adds to the ticks at which events were logged."""
    for f in fields:
        if f.role in (FieldRole.AGO, FieldRole.AHEAD):
            ticks = values[f.name].astype(np.int64)
            return -ticks if f.role == FieldRole.AGO else ticks
    return None


def microseconds(tick: Ticks, clock_hz: int) -> Ticks:
    """Ticks as whole microseconds, rounded down. Seconds and rest apart, so that long power-ups do not overflow.

    A log may claim more than 146,000 years: they count as so many.
    """
    if clock_hz == 1_000_000:
        return tick
    most = min(_MOST_US // 1_000_000 * clock_hz, (1 << 63) - 1)
    tick = np.minimum(tick, most) if isinstance(tick, np.ndarray) else min(tick, most)
    if 1_000_000 % clock_hz == 0:
        return tick * (1_000_000 // clock_hz)
    seconds, rest = divmod(tick, clock_hz)
    return seconds * 1_000_000 + rest * 1_000_000 // clock_hz


def _fields(data: np.ndarray, at: np.ndarray, kind: Kind) -> dict[str, np.ndarray]:
    columns = {}
    for f in kind.fields:
        type_ = _TYPES[f.type]
        column = data.view(type_).take(at) if f.type.width == 1 else at_every_byte(data, type_)[at]
        none = kind.none(f)
        where = None if none is None else column == none
        columns[f.name] = column if where is None or not where.any() else np.ma.masked_array(column, where)
        data = data[f.type.width :]
    return columns
