"""Writes play logs in Python, byte for byte as FORMAT.md says; the C recorder does the same on the console."""

import struct
from collections.abc import Iterator, Mapping, Sequence

from ingest.vocabulary import EventRole
from ingest.wire.checksum import crc16
from ingest.wire.cobs import stuff
from ingest.wire.dictionary import Dictionary, Field, Kind

EVENTS, DICTIONARY, SETTINGS, SHORT_EVENTS = 0x11, 0x12, 0x13, 0x14
HEADER = struct.Struct("<BHHI")
SHORT_HEADER = struct.Struct("<BBI")
MAX_PACKET = 128
MAX_BODY = MAX_PACKET - HEADER.size - 2
CHUNK = MAX_BODY - 6
SETTINGS_PER_PACKET = (MAX_BODY - 6) // 4
# A packet of events is sent once its header and body have so many bytes.
FULL_BYTES = 45
FIRST_REPEAT_S = 2.0
# Longer, and it is no time since power-up, such as one since 1970.
LONGEST_PAUSE_DAYS = 30
# What a player would miss most is sent at once.
URGENT = frozenset({EventRole.DEATH, EventRole.STAGE_END, EventRole.RUN_END})


class NotWritable(ValueError):
    """An event does not fit the dictionary or the order of time; the message says what to change."""


class Encoder:
    """Turns events into the bytes of a play log.

    Each method returns the bytes to send now (often none): the encoder does no I/O. `tick` counts from power-up and
    may pass 2^32. `repeat_s` is the time between two packets of the dictionary that is sent again and again, after the
    first repetition, which is quicker.
    """

    def __init__(self, dictionary: Dictionary, values: Sequence[int], nonce: int = 1, repeat_s: float = 15.0):
        if len(values) != len(dictionary.tunables):
            raise NotWritable(f"{len(dictionary.tunables)} tunables need as many values, not {len(values)}")
        self._dictionary = dictionary
        self._values = list(values)
        self._kinds = {kind.name: (number, kind, _layout(kind)) for number, kind in enumerate(dictionary.kinds)}
        self._flush_ticks = dictionary.clock_hz // 2
        self._first_repeat_ticks = round(min(repeat_s, FIRST_REPEAT_S) * dictionary.clock_hz)
        self._later_repeat_ticks = round(repeat_s * dictionary.clock_hz)
        # Through every pause the clock is sent again and again.
        self._longest_ticks = max(LONGEST_PAUSE_DAYS * 86_400 * dictionary.clock_hz, 1 << 33)
        self._sequence = 0
        self._nonce = nonce
        self._restart()

    def _restart(self) -> None:
        self._body = bytearray()
        self._start = self._last = 0
        self._dropped = self._told = 0  # told: by the last packet
        self._rotation = self._round()
        self._repeat_ticks = self._first_repeat_ticks
        self._repeat_at = self._repeat_ticks

    def power_up(self, nonce: int | None = None) -> bytes:
        """The first bytes after a reset: a zero, the settings and the whole dictionary."""
        closed = self.flush()
        self._nonce = (self._nonce if nonce is None else nonce) & 0xFFFF
        self._restart()
        return closed + b"\0" + b"".join(self._packet(type_, 0, body) for type_, body in self._about())

    def reset(self, nonce: int | None = None) -> bytes:
        """A reset of the console: as `power_up`, by default with the next nonce."""
        return self.power_up(self._nonce + 1 if nonce is None else nonce)

    def event(self, tick: int, name: str, fields: Mapping[str, int | None]) -> bytes:
        """Logs one event; a field that is None does not apply. Raises NotWritable."""
        if name not in self._kinds:
            raise NotWritable(f"unknown kind {name!r}; the dictionary has {', '.join(self._kinds)}")
        number, kind, layout = self._kinds[name]
        if tick < self._last:
            raise NotWritable(
                f"time goes back from {self._last} to {str(tick)[:40]}; sort the events, or log a power-up between"
            )
        if tick - self._last > self._longest_ticks:
            raise NotWritable(
                f"time {str(tick)[:40]} is more than {LONGEST_PAUSE_DAYS} days after {self._last}, at "
                f"{self._dictionary.clock_hz} ticks a second; times count from power-up: subtract that of the start"
            )
        unknown = set(fields) - {f.name for f in kind.fields}
        if unknown:
            raise NotWritable(f"kind {name!r} has no field {sorted(unknown)[0]!r}")
        try:
            content = layout.pack(*(_on_wire(kind, f, fields.get(f.name, 0)) for f in kind.fields))
        except struct.error:
            raise NotWritable(_misfit(kind, fields)) from None
        # A step holds 32 bits, and the clock must be seen at least every quarter of its wrap.
        out = self._catch_up(tick)
        if not self._body:
            self._start = self._last = tick
        self._body += _record(number, tick - self._last, content)
        self._last = tick
        header = HEADER if self._dropped & 0xFFFF else SHORT_HEADER
        full = header.size + len(self._body) >= FULL_BYTES
        return out + (self.flush() if kind.role in URGENT or full else b"")

    def settings(self, changes: Mapping[str, int]) -> bytes:
        """Changes tunables from here on and says so at once; raises NotWritable."""
        names = [t.name for t in self._dictionary.tunables]
        for name, value in changes.items():
            if name not in names:
                raise NotWritable(f"unknown tunable {name!r}; the dictionary has {', '.join(names)}")
            self._values[names.index(name)] = value
        return self.flush() + b"".join(
            self._packet(type_, self._last, body) for type_, body in self._about() if type_ == SETTINGS
        )

    def drop(self, events: int) -> bytes:
        """Counts events as dropped, as a recorder with a full buffer does: between packets."""
        closed = self.flush()
        if self._dropped + events - self._told > 0xFFFF:
            raise NotWritable("more than 65535 events dropped in a row cannot be told; log an event between")
        self._dropped += events
        return closed

    def flush(self) -> bytes:
        """Sends the open packet, if there is one."""
        if not self._body:
            return b""
        type_ = EVENTS if self._dropped & 0xFFFF else SHORT_EVENTS
        packet = self._packet(type_, self._start, bytes(self._body))
        self._body.clear()
        return packet

    def _catch_up(self, tick: int) -> bytes:
        out = b""
        if self._body and tick - self._start >= self._flush_ticks:
            out += self.flush()
        quarter = 1 << 30
        while tick - self._last > quarter:
            self._last += quarter
            out += self._repeat(self._last)
        if tick >= self._repeat_at:
            out += self.flush() + self._repeat(tick)
            self._repeat_at = tick + self._repeat_ticks
        return out

    def _repeat(self, tick: int) -> bytes:
        following = next(self._rotation, None)
        if following is None:
            self._rotation = self._round()
            self._repeat_ticks = self._later_repeat_ticks
            following = next(self._rotation)
        return self._packet(following[0], tick, following[1:])

    def _round(self) -> Iterator[bytes]:
        # Lazily, so that settings are sent as they are then.
        return (bytes([type_]) + body for type_, body in self._about())

    def _about(self) -> Iterator[tuple[int, bytes]]:
        text, id_ = self._dictionary.text, self._dictionary.id
        for first in range(0, max(1, len(self._values)), SETTINGS_PER_PACKET):
            some = self._values[first : first + SETTINGS_PER_PACKET]
            yield SETTINGS, struct.pack(f"<HHBB{len(some)}i", id_, self._nonce, first, len(some), *some)
        for offset in range(0, len(text), CHUNK):
            yield DICTIONARY, struct.pack("<HHH", id_, len(text), offset) + text[offset : offset + CHUNK]

    def _packet(self, type_: int, tick: int, body: bytes) -> bytes:
        if type_ == SHORT_EVENTS:
            packet = SHORT_HEADER.pack(type_, self._sequence & 0xFF, tick & 0xFFFFFFFF) + body
        else:
            packet = HEADER.pack(type_, self._sequence, self._dropped & 0xFFFF, tick & 0xFFFFFFFF) + body
        self._sequence = (self._sequence + 1) & 0xFFFF
        self._told = self._dropped
        return stuff(packet + crc16(packet).to_bytes(2, "big")) + b"\0"


def _layout(kind: Kind) -> struct.Struct:
    codes = {"u8": "B", "i8": "b", "u16": "H", "i16": "h", "u32": "I", "i32": "i"}
    return struct.Struct("<" + "".join(codes[f.type] for f in kind.fields))


def _record(number: int, step: int, content: bytes) -> bytes:
    width = 0 if step == 0 else 1 if step < 1 << 8 else 2 if step < 1 << 16 else 3
    return bytes([4 * number + width]) + step.to_bytes((0, 1, 2, 4)[width], "little") + content


def _on_wire(kind: Kind, field: Field, value: int | None) -> int:
    if value is not None:
        return value
    none = kind.none(field)
    if none is None:
        raise NotWritable(
            f"field {field.name!r} of kind {kind.name!r} cannot be none (FORMAT.md, section 3); give it a number"
        )
    return none


def _misfit(kind: Kind, fields: Mapping[str, int | None]) -> str:
    for f in kind.fields:
        value = _on_wire(kind, f, fields.get(f.name, 0))
        low, high = f.type.limits
        if not isinstance(value, int) or not low <= value <= high:
            return f"field {f.name!r} of kind {kind.name!r} must be an integer from {low} to {high}, not {value!r:.40}"
    return f"the fields of kind {kind.name!r} do not fit"
