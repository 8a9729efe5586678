"""A plain play-log decoder, one byte after the other, written from FORMAT.md alone.

It shares no code with the product, and is slow on purpose: the fast decoder is held against it. It reads a whole log
and keeps everything in memory.
"""

import struct
from dataclasses import dataclass, field
from typing import Any

from tests.reference_dictionary import WhollyRefused, read

WIDTHS = {"u8": ("<B", 1), "i8": ("<b", 1), "u16": ("<H", 2), "i16": ("<h", 2), "u32": ("<I", 4), "i32": ("<i", 4)}
NONE = {"u8": 255, "i8": -128, "u16": 65535, "i16": -32768, "u32": 4294967295, "i32": -2147483648}


@dataclass
class Event:
    """One decoded event: `tick` counts from the power-up's own zero and does not wrap. `offset` is its frame's."""

    power_up: int
    offset: int
    tick: int
    kind: str
    fields: dict[str, int | None]


@dataclass
class PowerUp:
    offset: int
    first_tick: int
    last_tick: int
    nonce: int | None = None
    dictionary_id: int | None = None
    dictionary: dict[str, Any] | None = None
    settings: list[tuple[int, list[int | None]]] = field(default_factory=list)  # offset, all values known by then


@dataclass
class Log:
    events: list[Event] = field(default_factory=list)
    rejected: list[tuple[int, str]] = field(default_factory=list)  # offset of the frame, reason
    gaps: list[tuple[int, int]] = field(default_factory=list)  # offset of the packet after it, packets missing
    drops: list[tuple[int, int]] = field(default_factory=list)  # offset of the packet that tells, events
    unread: list[tuple[int, int]] = field(default_factory=list)  # offset, bytes of a packet without dictionary
    newer: list[int] = field(default_factory=list)  # offsets
    tail_bytes: int = 0
    packets: int = 0
    power_ups: list[PowerUp] = field(default_factory=list)
    refusals: list[str] = field(default_factory=list)


def crc_bitwise(data: bytes) -> int:
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = ((crc << 1) ^ 0x1021) & 0xFFFF if crc & 0x8000 else (crc << 1) & 0xFFFF
    return crc ^ 0xFFFF


def unstuff(frame: bytes) -> bytes | None:
    """The packet in a frame; None where it is damaged."""
    out = bytearray()
    i = 0
    while i < len(frame):
        n = frame[i]
        block = frame[i + 1 : i + n]
        if len(block) != n - 1:
            return None
        out += block
        i += n
        if n != 255 and i < len(frame):
            out.append(0)
    return bytes(out)


def packet_in(frame: bytes) -> bytes:
    """The packet in a frame that is whole."""
    packet = unstuff(frame)
    assert packet is not None, frame
    return packet


def frames(data: bytes) -> tuple[list[tuple[int, bytes]], int]:
    """The frames with their offsets, and the length of the unterminated tail."""
    found, start = [], 0
    for i, byte in enumerate(data):
        if byte == 0:
            if i > start:
                found.append((start, data[start:i]))
            start = i + 1
    return found, len(data) - start


def records(body: bytes, dictionary: dict[str, Any]) -> list[tuple[int, str, dict[str, int | None]]] | None:
    """(step, kind, fields) of each record, or None where the body does not parse to its exact end."""
    out, i = [], 0
    while i < len(body):
        number, w = divmod(body[i], 4)
        i += 1
        if number >= len(dictionary["kinds"]) or not dictionary["kinds"][number]["readable"]:
            return None
        width = (0, 1, 2, 4)[w]
        if i + width > len(body):
            return None
        step = int.from_bytes(body[i : i + width], "little")
        i += width
        kind = dictionary["kinds"][number]
        values = {}
        for f in kind["fields"]:
            code, size = WIDTHS[f["type"]]
            if i + size > len(body):
                return None
            (value,) = struct.unpack(code, body[i : i + size])
            values[f["name"]] = None if value == NONE[f["type"]] and may_be_none(kind, f) else value
            i += size
        i += kind["passed_over"]
        if i > len(body):
            return None
        out.append((step, kind["name"], values))
    return out


def may_be_none(kind: dict[str, Any], f: dict[str, Any]) -> bool:
    if f["role"] in ("ago", "ahead") or (kind["role"] == "input" and f["role"] == "value"):
        return False
    return NONE[f["type"]] not in f["labels"]


def header_bytes(packet: bytes) -> int:
    return 6 if packet[0] & 15 == 4 else 9


MOST_DICTIONARIES = 64


class Decoder:
    """Reads a log frame by frame; `log` is what came of it."""

    def __init__(self) -> None:
        self.log = Log()
        self.texts: dict[int, dict[str, Any] | None] = {}
        self.building: tuple[int, int] | None = None
        self.bytes: list[int | None] = []
        self.up: PowerUp | None = None
        self.sequence = self.dropped = self.time = 0
        self.high_byte_known = True  # of the sequence
        self.held: list[tuple[int, int, int, bytes]] = []  # power-up, offset, tick, packet

    def frame(self, offset: int, frame: bytes) -> None:
        log = self.log
        if not 9 <= len(frame) <= 129:
            log.rejected.append((offset, "length"))
            return
        packet = unstuff(frame)
        if packet is None:
            log.rejected.append((offset, "cobs"))
            return
        if crc_bitwise(packet[:-2]) != int.from_bytes(packet[-2:], "big"):
            log.rejected.append((offset, "crc"))
            return
        if packet[0] >> 4 != 1:
            log.newer.append(offset)
            return
        if packet[0] & 15 not in (1, 2, 3, 4):
            log.rejected.append((offset, "type"))
            return
        if len(packet) < header_bytes(packet) + 2:
            log.rejected.append((offset, "length"))
            return
        log.packets += 1
        self.packet(offset, packet)

    def packet(self, offset: int, packet: bytes) -> None:
        type_ = packet[0] & 15
        if type_ == 4:
            sequence, time = struct.unpack("<BI", packet[1:6])
            dropped = 0
        else:
            sequence, dropped, time = struct.unpack("<HHI", packet[1:9])
        body = packet[header_bytes(packet) : -2]
        named = nonce = None
        malformed = False
        if type_ == 3:
            malformed = len(body) < 6 or len(body) != 6 + 4 * body[5] or body[4] + body[5] > 255
            if not malformed:
                named, nonce = struct.unpack("<HH", body[:4])
        if type_ == 2:
            malformed = len(body) < 7
            if not malformed:
                named, total, at = struct.unpack("<HHH", body[:6])
                malformed = not 1 <= total <= 16384 or at + len(body) - 6 > total
            if malformed:
                named = None
        back = self.up is not None and (time - self.time) & 0xFFFFFFFF >= 1 << 31
        other = self.up is not None and None not in (named, self.up.dictionary_id) and named != self.up.dictionary_id
        renewed = self.up is not None and None not in (nonce, self.up.nonce) and nonce != self.up.nonce
        repeated = False
        if self.up is None or back or other or renewed:
            self.up = PowerUp(offset, time, time)
            self.log.power_ups.append(self.up)
            self.high_byte_known = type_ != 4
            if dropped:
                self.log.drops.append((offset, dropped))
        else:
            self.up.last_tick += (time - self.time) & 0xFFFFFFFF
            if type_ == 4 or not self.high_byte_known:
                step = (sequence - self.sequence) & 0xFF
                if step == 0 and time != self.time:
                    step = 256
            else:
                step = (sequence - self.sequence) & 0xFFFF
            if type_ == 4:
                sequence = (self.sequence + step) & 0xFFFF
            else:
                self.high_byte_known = True
            repeated = step == 0
            if repeated:
                self.log.rejected.append((offset, "repeated"))
            elif step != 1:
                self.log.gaps.append((offset, step - 1))
            if dropped != self.dropped:
                self.log.drops.append((offset, (dropped - self.dropped) & 0xFFFF))
        self.sequence, self.dropped, self.time = sequence, dropped, time
        if malformed:
            self.log.rejected.append((offset, "body"))
            return
        if named is not None and self.up.dictionary_id is None:
            self.up.dictionary_id = named
        if type_ == 3:
            self.up.nonce = nonce
            self.settings(offset, body)
        if type_ == 2:
            self.chunk(body)
        if type_ in (1, 4) and not repeated:
            self.held.append((len(self.log.power_ups) - 1, offset, self.up.last_tick, packet))

    def settings(self, offset: int, body: bytes) -> None:
        assert self.up is not None
        first, count = body[4], body[5]
        values = list(self.up.settings[-1][1]) if self.up.settings else []
        while len(values) < first + count:
            values.append(None)
        for i in range(count):
            (values[first + i],) = struct.unpack_from("<i", body, 6 + 4 * i)
        self.up.settings.append((offset, values))

    def chunk(self, body: bytes) -> None:
        id_, total, at = struct.unpack("<HHH", body[:6])
        if id_ in self.texts:
            return
        if self.building != (id_, total):
            self.building, self.bytes = (id_, total), [None] * total
        for i, byte in enumerate(body[6:]):
            self.bytes[at + i] = byte
        if None in self.bytes:
            return
        text = bytes(byte for byte in self.bytes if byte is not None)
        self.building = None
        if crc_bitwise(text) != id_:
            return
        self.texts[id_] = None
        if len(self.texts) > MOST_DICTIONARIES:
            self.log.refusals.append("too many")
            return
        try:
            self.texts[id_] = read(text)
        except WhollyRefused:
            self.log.refusals.append("whole")

    def read(self) -> None:
        """The log is over: whatever dictionaries it holds are complete by now, and every packet is read."""
        for up in self.log.power_ups:
            up.dictionary = None if up.dictionary_id is None else self.texts.get(up.dictionary_id)
        for number, offset, tick, packet in self.held:
            dictionary = self.log.power_ups[number].dictionary
            if dictionary is None:
                self.log.unread.append((offset, len(packet)))
                continue
            found = records(packet[header_bytes(packet) : -2], dictionary)
            if found is None:
                self.log.rejected.append((offset, "body"))
                continue
            for step, kind, fields in found:
                tick += step
                self.log.events.append(Event(number, offset, tick, kind, fields))


def decode(data: bytes) -> Log:
    """Everything in a play log."""
    decoder = Decoder()
    found, tail = frames(data)
    for offset, frame in found:
        decoder.frame(offset, frame)
    decoder.read()
    decoder.log.tail_bytes = tail
    decoder.log.rejected.sort()
    return decoder.log
