"""Packets in, power-ups out: resets, gaps, dictionaries and settings (FORMAT.md, sections 2, 4 and 5)."""

from collections.abc import Callable, Mapping

import numpy as np

from ingest.capture.full_ring import FullRing
from ingest.capture.line_notices import full_rate
from ingest.wire.dictionary import MAX_TEXT_BYTES, Dictionary
from ingest.wire.framing import (
    CRC_BYTES,
    DICTIONARY,
    EVENTS,
    HEADER_BYTES,
    SETTINGS,
    SHORT_EVENTS,
    Damage,
    Packets,
    at_every_byte,
)
from ingest.wire.log_dictionaries import LogDictionaries
from ingest.wire.power_up import Harm, PowerUp, Span
from ingest.wire.waiting import Waiting

# A reset every three seconds for eight hours. Each takes a thousandth of a second, whatever it holds.
MAX_POWER_UPS = 10_000
_KNOWN_BODIES = 1024
# Changes of settings that wait to be used. More can only come from a log that never sends its dictionary.
_MOST_SETTINGS = 32_768
# Power-ups that a second reading may read with what it knows.
_MOST_UNREAD = 1000


class Session:
    """Follows the packets of one log. Those whose dictionary has not come yet are held.

    With `clock_every`, the clock is noted about once in so many bytes. `given` is read in place of every dictionary of
    the log. `known`: by the number of the power-up, its dictionary, which need not come any more: what
    `late_dictionaries` tells whoever reads a log twice.
    """

    def __init__(
        self, clock_every: int = 0, given: Dictionary | None = None, known: Mapping[int, Dictionary] | None = None
    ) -> None:
        self.power_ups = 0
        self._clock_every = clock_every
        self.dictionaries = LogDictionaries()
        self._full_ring = FullRing()
        self.stopped_at: int | None = None  # where there were too many power-ups: from this byte on nothing is read
        self.ran_back = self.ran_back_at = 0  # how often the clock did without a reset, and where first
        self._given = given
        self.unread_bytes = 0
        self._early = dict(known or {})
        # Power-ups some of whose packets could not be read, and the ids of their dictionaries.
        self.unread_ups: dict[int, int] = {}
        self._missed = False  # whether the present power-up is one
        self._known: set[bytes] = set()
        self._up: PowerUp | None = None
        self._values: list[int | None] = []
        self._settled = False  # whether this power-up has sent settings
        self._sequence = self._dropped = self._tick = self._time = 0
        self._high_byte_known = True  # of the sequence
        self._held = Waiting()

    def feed(self, packets: Packets) -> tuple[list[Span], list[Harm], list[PowerUp]]:
        """What the packets hold: spans of readable event packets, damage, and the power-ups that ended."""
        spans: list[Span] = []
        harm: list[Harm] = []
        ended: list[PowerUp] = []
        count = len(packets.start)
        if not count or self.stopped_at is not None:
            return spans, harm, ended
        data, start = packets.data, packets.start
        type_ = data.take(start) & 15
        short = type_ == SHORT_EVENTS
        # Short events tell one byte of the sequence, and that nothing was dropped.
        sequence, dropped = data.take(start + 1).astype(np.int64), np.zeros(count, np.int64)
        whole = np.flatnonzero(~short)
        sequence[whole] = at_every_byte(data, "<u2")[start[whole] + 1]
        dropped[whole] = at_every_byte(data, "<u2")[start[whole] + 3]
        time = at_every_byte(data, "<u4")[start + HEADER_BYTES.take(type_) - 4]
        passed = np.diff(time, prepend=np.uint32(self._time))
        back = passed >= 1 << 31
        control = np.flatnonzero(~(short | (type_ == EVENTS)) | back)
        fresh = [0] if self._up is None else []
        begun = 0

        def close(until: int) -> None:
            if until > begun:
                self._follow(packets, begun, until, type_, sequence, dropped, passed, spans, harm)

        for i in sorted({*fresh, *control.tolist()}):
            kind = int(type_[i])
            body = data[start[i] + HEADER_BYTES[kind] : start[i] + packets.length[i] - CRC_BYTES].tobytes()
            key = bytes([kind]) + body
            reset = self._up is None or bool(back[i])
            if not reset and key in self._known:
                continue
            about = _about(kind, body)
            if not reset and about is not None:
                assert self._up is not None
                id_, nonce = about
                other = self._up.dictionary_id is not None and self._up.dictionary_id != id_
                renewed = nonce is not None and self._up.nonce is not None and self._up.nonce != nonce
                reset = other or renewed
            if reset:
                ran_back = self._up is not None and bool(back[i]) and not self._restarted(i, sequence, about)
                if ran_back:
                    self.ran_back_at = self.ran_back_at if self.ran_back else int(packets.offset[i])
                    self.ran_back += 1
                close(i)
                begun = i
                if self._up is not None:
                    ended.append(self._end(int(packets.offset[i]), harm))
                    ended[-1].torn = kind != SETTINGS and not ran_back
                if self.power_ups >= MAX_POWER_UPS:
                    self.stopped_at = int(packets.offset[i])
                    return spans, harm, ended
                self._up = PowerUp(self.power_ups, int(packets.offset[i]), whole=kind == SETTINGS)
                self.power_ups += 1
                self._values, self._settled = [], False
                self._known = set()
                self._sequence, self._dropped = int(sequence[i]) - 1, 0
                self._high_byte_known = kind != SHORT_EVENTS
                self._tick = self._up.first_tick = int(time[i])
                passed[i] = 0
            if kind in (EVENTS, SHORT_EVENTS):
                continue
            if about is None:
                harm.append(Harm(int(packets.offset[i]), Damage.BODY))
                continue
            # Events before this packet are read with what was known before it.
            assert self._up is not None
            if self._up.dictionary_id is None:
                self._up.dictionary_id = about[0]
            if about[1] is not None:
                self._up.nonce = about[1]
                self._settings(body, int(packets.offset[i]))
            else:
                self.dictionaries.take(body, int(packets.offset[i]))
            if len(self._known) < _KNOWN_BODIES and (kind == SETTINGS or about[0] in self.dictionaries.read):
                self._known = {k for k in self._known if not _overlap(k, key)}
                self._known.add(key)
        close(count)
        self._time = int(time[-1])
        return spans, harm, ended

    @property
    def full_bytes_per_s(self) -> float | None:
        """How much went over the line while the console's ring was full; None: it was not, or the clock is unknown."""
        packets, bytes_, seconds = 0, 0, 0.0
        for id_, one in self._full_ring.by_dictionary.items():
            dictionary = self._given or (None if id_ is None else self.dictionaries.read.get(id_))
            if dictionary is not None:
                packets, bytes_ = packets + one.packets, bytes_ + one.bytes
                seconds += one.ticks / dictionary.clock_hz
        return full_rate(packets, bytes_, seconds)

    @property
    def dictionary_missing(self) -> tuple[int, int, int] | None:
        """Where no dictionary has come: bytes of packets without one, bytes of it that are there, and of all of it.

        0 of 0: no piece of it came.
        """
        waiting = self.unread_bytes + self._held.bytes
        there = self.dictionaries
        if not waiting or there.refusal is not None or (there.read and not self._held.bytes):
            return None
        return waiting, *there.came

    def _restarted(self, i: int, sequence: np.ndarray, about: tuple[int, int | None] | None) -> bool:
        """Whether packet i, before which the time went back, comes from a console that was reset.

        A recorder that starts anew counts its packets anew; one whose clock ran back goes on counting.
        """
        assert self._up is not None
        nonce = None if about is None else about[1]
        other = nonce is not None and self._up.nonce is not None and nonce != self._up.nonce
        before = int(sequence[i - 1]) if i else self._sequence
        return other or (int(sequence[i]) - before) & 0xFF != 1

    @property
    def holding(self) -> bool:
        """Whether packets wait for their dictionary."""
        return self._held.bytes > 0

    @property
    def held_until(self) -> int:
        """Where the last of the packets that wait begins."""
        return self._held.until

    def late_dictionaries(
        self, elsewhere: Callable[[set[int]], dict[int, Dictionary]] | None = None
    ) -> dict[int, Dictionary]:
        """Of power-ups with unread packets, the dictionaries that came too late: a second reading can use them.

        `elsewhere` is asked for those that never came complete, by their ids.
        """
        never = set(self.unread_ups.values()) - set(self.dictionaries.read)
        found = elsewhere(never) if elsewhere is not None and never else {}
        late = {up: self.dictionaries.read.get(id_, found.get(id_)) for up, id_ in self.unread_ups.items()}
        return {up: dictionary for up, dictionary in late.items() if dictionary is not None}

    def end(self) -> tuple[list[Harm], list[PowerUp]]:
        """The log is over."""
        harm: list[Harm] = []
        return harm, [self._end(None, harm)] if self._up is not None else []

    def _end(self, offset: int | None, harm: list[Harm]) -> PowerUp:
        up = self._up
        assert up is not None
        up.end_offset = offset
        up.last_tick = self._tick
        held, self._held = self._held, Waiting()
        unread = held.bytes > 0 or self._missed
        if unread and up.dictionary_id is not None and len(self.unread_ups) < _MOST_UNREAD:
            self.unread_ups[up.number] = up.lacks = up.dictionary_id
        self._missed = False
        if held.bytes:
            self.unread_bytes += held.bytes
            harm.append(Harm(held.from_, Damage.UNREAD, held.packets))
        self._up = None
        return up

    def _follow(
        self,
        packets: Packets,
        begun: int,
        until: int,
        type_: np.ndarray,
        sequence: np.ndarray,
        dropped: np.ndarray,
        passed: np.ndarray,
        spans: list[Span],
        harm: list[Harm],
    ) -> None:
        """Packets begun..until of the present power-up: clock, gaps, drops; event packets become a span or are held."""
        up = self._up
        assert up is not None
        part = slice(begun, until)
        offset = packets.offset[part]
        step = self._steps(type_[part], sequence[part], passed[part])
        for i in np.flatnonzero(step != 1).tolist():
            if step[i]:
                harm.append(Harm(int(offset[i]), Damage.GAP, int(step[i]) - 1, int(passed[begun + i])))
            else:
                harm.append(Harm(int(offset[i]), Damage.REPEATED))
        lost = np.diff(dropped[part], prepend=self._dropped) & 0xFFFF
        for i in np.flatnonzero(lost).tolist():
            harm.append(Harm(int(offset[i]), Damage.DROPPED, int(lost[i]), int(passed[begun + i])))
        tick = self._tick + np.cumsum(passed[part], dtype=np.int64)
        self._dropped, self._tick = int(dropped[until - 1]), int(tick[-1])
        self._full_ring.take(up.number, up.dictionary_id, offset, passed[part], lost)
        up.packets += until - begun
        if self._clock_every:
            due = np.flatnonzero(np.diff(offset // self._clock_every, prepend=-1))
            up.clock.append((offset[due], tick[due]))
        events = np.flatnonzero(((type_[part] == EVENTS) | (type_[part] == SHORT_EVENTS)) & (step != 0))
        start, length = packets.start[part][events], packets.length[part][events]
        self._read_or_hold(packets.data, start, length, offset[events], tick[events], spans, harm)

    def _steps(self, type_: np.ndarray, sequence: np.ndarray, passed: np.ndarray) -> np.ndarray:
        """How far the sequence went from each packet to the next; short events tell only the low byte of theirs."""
        step = np.diff(sequence, prepend=self._sequence) & 0xFF
        step[(step == 0) & (passed != 0)] = 256
        whole = type_ != SHORT_EVENTS
        anchor = None
        if not self._high_byte_known and whole.any():
            anchor = int(np.argmax(whole))
            whole[anchor] = False
            self._high_byte_known = True
        # The sequence less what was counted by low bytes: between two whole ones it stays the same.
        counted = np.cumsum(np.where(whole, 0, step))
        base = self._sequence if anchor is None else int(sequence[anchor] - counted[anchor])
        bases = sequence[whole] - counted[whole]
        step[whole] = np.diff(bases, prepend=base) & 0xFFFF
        self._sequence = (int(bases[-1]) if len(bases) else base) + int(counted[-1])
        return step

    def _read_or_hold(
        self,
        data: np.ndarray,
        start: np.ndarray,
        length: np.ndarray,
        offset: np.ndarray,
        tick: np.ndarray,
        spans: list[Span],
        harm: list[Harm],
    ) -> None:
        up = self._up
        assert up is not None
        early = self._given or self._early.get(up.number)
        if early is not None or up.dictionary_id in self.dictionaries.read:
            dictionary = self.dictionaries.read[up.dictionary_id] if early is None else early
            held, self._held = self._held, Waiting()
            if dictionary is None:
                packets = held.packets + len(length)
                if packets:
                    self.unread_bytes += held.bytes + int(length.sum())
                    first = held.from_ if held.packets else int(offset[0])
                    harm.append(Harm(first, Damage.UNREAD, packets))
                return
            if held.bytes:
                spans.append(held.span(up, dictionary))
            if len(start):
                spans.append(Span(up, dictionary, data, start, length, offset, tick))
            return
        room = self._held.take(data, start, length, offset, tick)
        if not room.all():
            self._missed = True
            self.unread_bytes += int(length[~room].sum())
            harm.append(Harm(int(offset[~room][0]), Damage.UNREAD, int((~room).sum())))

    def _settings(self, body: bytes, offset: int) -> None:
        """Puts the values in their places; a change is noted with its place in the log."""
        assert self._up is not None
        first, count = body[4], body[5]
        values = np.frombuffer(body, "<i4", count, 6).tolist()
        new = self._values + [None] * (first + count - len(self._values))
        new[first : first + count] = values
        if new != self._values or not self._settled:
            self._values, self._settled = new, True
            if len(self._up.settings) >= _MOST_SETTINGS:
                self._up.settings.pop()
            self._up.settings.append((offset, tuple(new)))


def _overlap(one: bytes, other: bytes) -> bool:
    """Whether two packets (type and body) set some of the same tunables."""
    if one[0] != SETTINGS or other[0] != SETTINGS:
        return False
    return one[5] < other[5] + max(1, other[6]) and other[5] < one[5] + max(1, one[6])


def _about(kind: int, body: bytes) -> tuple[int, int | None] | None:
    """Dictionary id and nonce (None: a chunk) of a dictionary or settings packet; None where its body is malformed."""
    if kind == SETTINGS:
        if len(body) < 6 or len(body) != 6 + 4 * body[5] or body[4] + body[5] > 255:
            return None
        return body[0] | body[1] << 8, body[2] | body[3] << 8
    if kind == DICTIONARY:
        total, at = (body[2] | body[3] << 8 if len(body) > 6 else 0, body[4] | body[5] << 8 if len(body) > 6 else 0)
        if len(body) < 7 or not 1 <= total <= MAX_TEXT_BYTES or at + len(body) - 6 > total:
            return None
        return body[0] | body[1] << 8, None
    return None
