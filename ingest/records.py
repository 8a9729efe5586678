"""Packets in, events out: the records of thousands of packets are found in lockstep (FORMAT.md, section 3)."""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from ingest.dictionary import Dictionary, Field
from ingest.vocabulary import FieldRole

_HEADER, _CRC = 9, 2
Ticks = TypeVar("Ticks", int, np.ndarray)
_STEP_BYTES = (0, 1, 2, 4)
_STEP_MASK = np.array([0, 0xFF, 0xFFFF, 0xFFFFFFFF], np.int64)
_TYPES = {"u8": "<u1", "i8": "<i1", "u16": "<u2", "i16": "<i2", "u32": "<u4", "i32": "<i4"}


@dataclass(frozen=True)
class Events:
    """The events of one kind in one batch. `order` counts within the batch, over all kinds; `offset` is the packet's.

    `at_us` counts from power-up, with `ago` and `ahead` applied.
    """

    kind: int
    order: np.ndarray
    at_us: np.ndarray
    offset: np.ndarray
    fields: dict[str, np.ndarray]


@dataclass(frozen=True)
class Batch:
    """All events of some packets, by kind, and the packets that did not parse to their exact end.

    `tick` is when each was logged, in the order of the log.
    """

    tick: np.ndarray
    by_kind: list[Events]
    bad: np.ndarray  # indices of the packets


class RecordReader:
    """Reads event packets with one dictionary."""

    def __init__(self, dictionary: Dictionary):
        self._kinds = dictionary.kinds
        self._clock_hz = dictionary.clock_hz
        # Length of a record by its first byte; 0: no such kind.
        self._lengths = np.zeros(256, np.int64)
        for number, kind in enumerate(dictionary.kinds):
            for w, step_bytes in enumerate(_STEP_BYTES):
                self._lengths[4 * number + w] = 1 + step_bytes + kind.width

    def read(
        self, data: np.ndarray, start: np.ndarray, length: np.ndarray, tick: np.ndarray, offset: np.ndarray
    ) -> Batch:
        """The events of the packets at `start`, whose first events happened at `tick`."""
        where, packet, good = self._find(data, start + _HEADER, start + length - _CRC)
        tag = data[where]
        step_width = tag & 3
        step = _word(data, where + 1) & _STEP_MASK[step_width]
        passed = np.cumsum(step)
        first = np.searchsorted(packet, np.arange(len(start)))  # its first record
        before = np.concatenate(([0], passed))[first]
        at_tick = tick[packet] + passed - before[packet]
        kind = tag >> 2
        by_kind = []
        sorted_ = np.argsort(kind, kind="stable")
        bounds = np.searchsorted(kind[sorted_], np.arange(len(self._kinds) + 1))
        for number, own in enumerate(self._kinds):
            order = sorted_[bounds[number] : bounds[number + 1]]
            if len(order):
                content = where[order] + 1 + np.array(_STEP_BYTES)[step_width[order]]
                fields = _fields(data, content, own.fields)
                shift = _shift(own.fields, fields)
                at_us = microseconds(
                    at_tick[order] if shift is None else at_tick[order] + shift, self._clock_hz
                )
                by_kind.append(Events(number, order, at_us, offset[packet[order]], fields))
        return Batch(at_tick, by_kind, np.flatnonzero(~good))

    def _find(
        self, data: np.ndarray, at: np.ndarray, end: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Where each record of the good packets begins, the packet it is in, and which packets are good."""
        good = np.ones(len(at), bool)
        count = np.zeros(len(at), np.int64)
        which = np.flatnonzero(at < end)
        at, end = at[which], end[which]
        steps = []
        while len(which):
            length = self._lengths[data[at]]
            count[which] += 1
            steps.append((which, at))
            at = at + length
            bad = (length == 0) | (at > end)
            good[which[bad]] = False
            on = ~bad & (at < end)
            which, at, end = which[on], at[on], end[on]
        count[~good] = 0
        first = np.cumsum(count) - count
        where = np.empty(int(count.sum()), np.int64)
        for number, (packets, positions) in enumerate(steps):
            kept = good[packets]
            where[first[packets[kept]] + number] = positions[kept]
        return where, np.repeat(np.arange(len(count)), count), good


def _shift(fields: tuple[Field, ...], values: dict[str, np.ndarray]) -> np.ndarray | None:
    """What `ago` or `ahead` adds to the ticks at which events were logged."""
    for f in fields:
        if f.role in (FieldRole.AGO, FieldRole.AHEAD):
            ticks = values[f.name].astype(np.int64)
            return -ticks if f.role == FieldRole.AGO else ticks
    return None


def microseconds(tick: Ticks, clock_hz: int) -> Ticks:
    """Ticks as whole microseconds, rounded down. Seconds and rest apart, so that long power-ups do not overflow."""
    if clock_hz == 1_000_000:
        return tick
    if 1_000_000 % clock_hz == 0:
        return tick * (1_000_000 // clock_hz)
    seconds, rest = divmod(tick, clock_hz)
    return seconds * 1_000_000 + rest * 1_000_000 // clock_hz


def _word(data: np.ndarray, at: np.ndarray) -> np.ndarray:
    """The four bytes from each position on, little-endian."""
    view = np.lib.stride_tricks.as_strided(data[:4].view("<u4"), (len(data) - 3,), (1,))
    return view[at].astype(np.int64)


def _fields(data: np.ndarray, at: np.ndarray, fields: tuple[Field, ...]) -> dict[str, np.ndarray]:
    columns = {}
    for f in fields:
        width = f.type.width
        view = np.lib.stride_tricks.as_strided(
            data[:width].view(_TYPES[f.type]), (len(data) - width + 1,), (1,)
        )
        columns[f.name] = view[at]
        at = at + width
    return columns
