"""A plain play-log decoder, one byte after the other, written from FORMAT.md alone.

It shares no code with the product except the dictionary's text parser, and is slow on purpose: the fast decoder
is held against it. It reads a whole log and keeps everything in memory.
"""

import struct
from dataclasses import dataclass, field

from ingest.dictionary import BadDictionary, Dictionary, parse

WIDTHS = {"u8": ("<B", 1), "i8": ("<b", 1), "u16": ("<H", 2), "i16": ("<h", 2), "u32": ("<I", 4), "i32": ("<i", 4)}


@dataclass
class Event:
    """One decoded event: `tick` counts from the power-up's own zero and does not wrap."""

    power_up: int
    tick: int
    kind: str
    fields: dict[str, int]


@dataclass
class Log:
    events: list[Event] = field(default_factory=list)
    rejected: list[tuple[int, str]] = field(default_factory=list)  # offset of the frame, reason
    missing_packets: int = 0
    dropped_events: int = 0
    tail_bytes: int = 0
    power_ups: int = 0
    settings: list[tuple[int, list[int]]] = field(default_factory=list)  # power-up, values
    dictionaries: list[Dictionary] = field(default_factory=list)


def crc_bitwise(data: bytes) -> int:
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = ((crc << 1) ^ 0x1021) & 0xFFFF if crc & 0x8000 else (crc << 1) & 0xFFFF
    return crc ^ 0xFFFF


def unstuff(frame: bytes) -> bytes | None:
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


def frames(data: bytes) -> tuple[list[tuple[int, bytes]], int]:
    """The frames with their offsets, and the length of the unterminated tail."""
    found, start = [], 0
    for i, byte in enumerate(data):
        if byte == 0:
            if i > start:
                found.append((start, data[start:i]))
            start = i + 1
    return found, len(data) - start


def records(body: bytes, dictionary: Dictionary) -> list[tuple[int, str, dict[str, int]]] | None:
    """(step, kind, fields) of each record, or None where the body does not parse to its exact end."""
    out, i = [], 0
    while i < len(body):
        number, w = divmod(body[i], 4)
        i += 1
        if number >= len(dictionary.kinds):
            return None
        width = (0, 1, 2, 4)[w]
        if i + width > len(body):
            return None
        step = int.from_bytes(body[i : i + width], "little")
        i += width
        kind = dictionary.kinds[number]
        values = {}
        for f in kind.fields:
            code, size = WIDTHS[f.type]
            if i + size > len(body):
                return None
            (values[f.name],) = struct.unpack(code, body[i : i + size])
            i += size
        out.append((step, kind.name, values))
    return out
