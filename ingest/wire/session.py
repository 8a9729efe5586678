"""Packets in, power-ups out: resets, gaps, dictionaries and settings (FORMAT.md, sections 2, 4 and 5)."""

from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from ingest.capture.full_ring import FullRing
from ingest.capture.line_notices import full_rate
from ingest.study.capture_counts import Notice
from ingest.study.notices import MOST_NOTICES, refused_parts
from ingest.wire.checksum import crc16
from ingest.wire.dictionary import MAX_TEXT_BYTES, BadDictionary, Dictionary
from ingest.wire.dictionary_text import parse
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

HELD_BYTES = 1 << 20
MAX_DICTIONARIES = 64
# Each has a table of its own in the study, which takes memory however few its events are.
MAX_KINDS_OF_A_LOG = 500
# A reset every three seconds for eight hours. Each takes a thousandth of a second, whatever it holds.
MAX_POWER_UPS = 10_000
_KNOWN_BODIES = 1024
# Changes of settings that wait to be used. More can only come from a log that never sends its dictionary.
_MOST_SETTINGS = 32_768
# Power-ups that a second reading may read with what it knows.
_MOST_UNREAD = 1000


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


@dataclass
class _Held:
    """Event packets that wait for their dictionary."""

    data: list[np.ndarray] = field(default_factory=list)
    length: list[np.ndarray] = field(default_factory=list)
    offset: list[np.ndarray] = field(default_factory=list)
    tick: list[np.ndarray] = field(default_factory=list)
    bytes: int = 0


class Session:
    """Follows the packets of one log. Holds at most HELD_BYTES of packets whose dictionary has not come yet.

    With `clock_every`, the clock is noted about once in so many bytes. `given` is read in place of every dictionary of
    the log. `text` is that of the log's first dictionary of which a part was refused, or else of the first. `known`: by
    the number of the power-up, its dictionary, which need not come any more: what `late_dictionaries` tells whoever
    reads a log twice.
    """

    def __init__(
        self, clock_every: int = 0, given: Dictionary | None = None, known: Mapping[int, Dictionary] | None = None
    ) -> None:
        self.power_ups = 0
        self._clock_every = clock_every
        self.refusal: str | None = None
        self.notices: list[Notice] = []
        self.text: bytes | None = None
        self._full_ring = FullRing()
        self.stopped_at: int | None = None  # where there were too many power-ups: from this byte on nothing is read
        self.ran_back = self.ran_back_at = 0  # how often the clock did without a reset, and where first
        self._given = given
        self.unread_bytes = 0
        self._texts: dict[int | None, Dictionary | None] = {}  # complete; None: refused
        self._early = dict(known or {})
        # Power-ups some of whose packets could not be read, and the ids of their dictionaries.
        self.unread_ups: dict[int, int] = {}
        self._missed = False  # whether the present power-up is one
        self._kinds: set[tuple[object, ...]] = set()  # those that differ, of all dictionaries
        self._building: tuple[int, int] | None = None  # id and length of the text that is being put together
        self._text = bytearray()
        self._there = np.zeros(0, bool)
        self._known: set[bytes] = set()
        self._up: PowerUp | None = None
        self._values: list[int | None] = []
        self._settled = False  # whether this power-up has sent settings
        self._sequence = self._dropped = self._tick = self._time = 0
        self._high_byte_known = True  # of the sequence
        self._held = _Held()

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
                ran_back = self._up is not None and bool(back[i]) and not self._restarted(i, kind, sequence, about)
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
                self._chunk(body, int(packets.offset[i]))
            if len(self._known) < _KNOWN_BODIES and (kind == SETTINGS or about[0] in self._texts):
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
            dictionary = self._given or (None if id_ is None else self._texts.get(id_))
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
        if not waiting or self.refusal is not None or (self._texts and not self._held.bytes):
            return None
        return (waiting, int(self._there.sum()) if self._building else 0, self._building[1] if self._building else 0)

    def _restarted(self, i: int, kind: int, sequence: np.ndarray, about: tuple[int, int | None] | None) -> bool:
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
        return int(self._held.offset[-1][-1])

    def late_dictionaries(
        self, elsewhere: Callable[[set[int]], dict[int, Dictionary]] | None = None
    ) -> dict[int, Dictionary]:
        """Of power-ups with unread packets, the dictionaries that came too late: a second reading can use them.

        `elsewhere` is asked for those that never came complete, by their ids.
        """
        never = set(self.unread_ups.values()) - set(self._texts)
        found = elsewhere(never) if elsewhere is not None and never else {}
        late = {up: self._texts.get(id_, found.get(id_)) for up, id_ in self.unread_ups.items()}
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
        held, self._held = self._held, _Held()
        unread = held.bytes > 0 or self._missed
        if unread and up.dictionary_id is not None and len(self.unread_ups) < _MOST_UNREAD:
            self.unread_ups[up.number] = up.lacks = up.dictionary_id
        self._missed = False
        if held.bytes:
            self.unread_bytes += held.bytes
            harm.append(Harm(int(held.offset[0][0]), Damage.UNREAD, sum(len(part) for part in held.length)))
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
        if early is not None or up.dictionary_id in self._texts:
            dictionary = self._texts[up.dictionary_id] if early is None else early
            held, self._held = self._held, _Held()
            if dictionary is None:
                packets = sum(len(part) for part in held.length) + len(length)
                if packets:
                    self.unread_bytes += held.bytes + int(length.sum())
                    first = int(held.offset[0][0]) if held.offset else int(offset[0])
                    harm.append(Harm(first, Damage.UNREAD, packets))
                return
            if held.bytes:
                lengths = np.concatenate(held.length)
                whole = np.concatenate([*held.data, np.zeros(16, np.uint8)])
                spans.append(
                    Span(
                        up,
                        dictionary,
                        whole,
                        np.cumsum(lengths) - lengths,
                        lengths,
                        np.concatenate(held.offset),
                        np.concatenate(held.tick),
                    )
                )
            if len(start):
                spans.append(Span(up, dictionary, data, start, length, offset, tick))
            return
        room = np.cumsum(length) + self._held.bytes <= HELD_BYTES
        if not room.all():
            self._missed = True
            self.unread_bytes += int(length[~room].sum())
            harm.append(Harm(int(offset[~room][0]), Damage.UNREAD, int((~room).sum())))
        if room.any():
            start, length = start[room], length[room]
            shift = np.arange(int(length.sum())) - np.repeat(np.cumsum(length) - length, length)
            self._held.data.append(data[np.repeat(start, length) + shift])
            self._held.length.append(length)
            self._held.offset.append(offset[room])
            self._held.tick.append(tick[room])
            self._held.bytes += int(length.sum())

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

    def _chunk(self, body: bytes, offset: int) -> None:
        id_, total, at = (int.from_bytes(body[i : i + 2], "little") for i in (0, 2, 4))
        if id_ in self._texts:
            return
        if self._building != (id_, total):
            self._building = (id_, total)
            self._text = bytearray(total)
            self._there = np.zeros(total, bool)
        chunk = body[6:]
        self._text[at : at + len(chunk)] = chunk
        self._there[at : at + len(chunk)] = True
        if not self._there.all():
            return
        self._building = None
        text = bytes(self._text)
        if crc16(text) != id_:
            return
        untroubled = self.refusal is None and not self.notices
        self.text = text if self.text is None else self.text
        self._texts[id_] = None
        if len(self._texts) > MAX_DICTIONARIES:
            self.refusal = f"more than {MAX_DICTIONARIES} dictionaries in one log; cut the log into its sessions"
            return
        try:
            dictionary = parse(text)
        except BadDictionary as error:
            self.refusal = str(error)
            dictionary = None
        if dictionary is not None:
            self._kinds |= {
                (dictionary.game, kind.name, kind.role, *((f.name, f.type, f.role, f.unit) for f in kind.fields))
                for kind in dictionary.kinds
            }
            if len(self._kinds) > MAX_KINDS_OF_A_LOG:
                self.refusal = f"more than {MAX_KINDS_OF_A_LOG} kinds in one log; cut the log into its sessions"
                dictionary = None
        self._texts[id_] = dictionary
        if untroubled and (dictionary is None or dictionary.refused):
            self.text = text
        if dictionary is not None:
            self.notices = (self.notices + refused_parts(offset, dictionary.refused))[:MOST_NOTICES]


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
