"""Bytes in, packets out: frames are found, unstuffed and checked by the thousand at once (FORMAT.md, section 1).

The framer does no I/O and gives the same packets for every way of cutting the stream into chunks.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from ingest.wire.checksum import crc16

VERSION = 1
EVENTS, DICTIONARY, SETTINGS, SHORT_EVENTS = 1, 2, 3, 4
CRC_BYTES = 2
# By the low four bits of a packet's first byte. Of unknown types any length will do: they are rejected as such.
HEADER_BYTES = np.full(16, 6)
HEADER_BYTES[[EVENTS, DICTIONARY, SETTINGS]] = 9
LEAST_PACKET, MOST_PACKET = 8, 128
# Blocks of a frame that are unstuffed before the frames that are done are sorted out.
_STEPS = 4
# As many bytes may be looked at from any byte of a packet on: this many zeros follow every batch.
_PAD = MOST_PACKET


class Damage(StrEnum):
    """Why a packet was not used, or what went missing before one."""

    LENGTH = "length"  # of the frame, or too short for the type
    COBS = "cobs"
    CRC = "crc"
    VERSION = "version"  # newer than this reader
    TYPE = "type"
    BODY = "body"  # does not parse to its exact end
    REPEATED = "repeated"  # the same sequence number again
    GAP = "gap"  # packets that never came
    DROPPED = "dropped"  # events the recorder had no room for
    UNREAD = "unread"  # no dictionary for it


@dataclass(frozen=True)
class Packets:
    """The good packets of one batch, in order.

    `data` (uint8) holds them unstuffed; packet i is data[start[i] : start[i] + length[i]], CRC included, and at least
    128 bytes follow the last one. `offset` is where its frame begins in the log.
    `bad_offset` and `bad_code` tell of the frames that were no packets: millions of them, where somebody means harm.
    """

    data: np.ndarray
    start: np.ndarray
    length: np.ndarray
    offset: np.ndarray
    bad_offset: np.ndarray
    bad_code: np.ndarray

    @property
    def bad_reason(self) -> list[Damage]:
        """Why each of the frames was none."""
        return [REASONS[code] for code in self.bad_code.tolist()]


def at_every_byte(data: np.ndarray, type_: str) -> np.ndarray:
    """A view of `data` (uint8) whose element i is what stands from byte i on, read as `type_`."""
    width = np.dtype(type_).itemsize
    return np.ndarray(len(data) - width + 1, type_, data, 0, 1)


class Framer:
    """Cuts a byte stream into packets. At most one frame's worth of bytes is kept between two chunks.

    `offset`: where in the log the first byte stands that it is fed.
    """

    def __init__(self, offset: int = 0) -> None:
        self._rest = b""
        self._rest_bytes = 0  # as they were in the stream: a rest too long for a frame is not kept whole
        self._offset = offset

    @property
    def tail_bytes(self) -> int:
        """Bytes since the last zero: never a frame, unless a zero follows in the next chunk."""
        return self._rest_bytes

    def feed(self, chunk: bytes) -> Packets:
        """The packets whose closing zero lies in `chunk`."""
        kept = self._rest
        shift = self._rest_bytes - len(kept)  # bytes left out of the rest, all of one frame too long anyway
        stream = np.frombuffer(kept + chunk, np.uint8)
        base = self._offset - self._rest_bytes
        self._offset += len(chunk)
        ends = np.flatnonzero(stream == 0)
        if not len(ends):
            self._rest_bytes += len(chunk)
            self._rest = stream[: MOST_PACKET + 2].tobytes()
            return _none()
        last = int(ends[-1]) + 1
        self._rest_bytes = len(stream) - last
        self._rest = stream[last : last + MOST_PACKET + 2].tobytes()
        starts = np.empty_like(ends)
        starts[0] = 0
        starts[1:] = ends[:-1] + 1
        frame_bytes = ends - starts
        offsets = starts + base + shift
        offsets[0] = base
        frame_bytes[0] += shift
        full = frame_bytes > 0
        return _check(stream[:last], starts[full], frame_bytes[full], offsets[full])


def _none() -> Packets:
    empty = np.zeros(0, np.int64)
    return Packets(np.zeros(_PAD, np.uint8), empty, empty, empty, empty, empty)


def _check(stream: np.ndarray, start: np.ndarray, frame_bytes: np.ndarray, offset: np.ndarray) -> Packets:
    """Every frame is good or has one reason, the first that applies of length (of the frame), cobs, crc,
    version, type, length (too short for the type)."""
    reason = np.zeros(len(start), np.uint8)
    reason[(frame_bytes < LEAST_PACKET + 1) | (frame_bytes > MOST_PACKET + 1)] = _CODE[Damage.LENGTH]
    data = np.zeros(len(stream) + _PAD, np.uint8)
    data[: len(stream)] = stream
    _step(reason, start, frame_bytes, lambda s, n: ~_unstuff(data, s, n), Damage.COBS)
    _step(reason, start, frame_bytes, lambda s, n: ~_crc_holds(data, s + 1, n - 1), Damage.CRC)
    _step(reason, start, frame_bytes, lambda s, n: data[s + 1] >> 4 != VERSION, Damage.VERSION)
    _step(reason, start, frame_bytes, lambda s, n: _unknown_type(data[s + 1] & 15), Damage.TYPE)
    _step(reason, start, frame_bytes, lambda s, n: n - 1 < _least(data[s + 1] & 15), Damage.LENGTH)
    good = reason == 0
    bad = ~good
    return Packets(data, start[good] + 1, frame_bytes[good] - 1, offset[good], offset[bad], reason[bad])


# By the codes of `Packets.bad_code`.
REASONS = dict(enumerate(Damage, 1))
_CODE = {reason: code for code, reason in REASONS.items()}
NEWER = _CODE[Damage.VERSION]


def _step(reason: np.ndarray, start: np.ndarray, frame_bytes: np.ndarray, fails, why: Damage) -> None:  # type: ignore[no-untyped-def]
    left = np.flatnonzero(reason == 0)
    reason[left[fails(start[left], frame_bytes[left])]] = _CODE[why]


def _unknown_type(type_: np.ndarray) -> np.ndarray:
    return (type_ < EVENTS) | (type_ > SHORT_EVENTS)


def _least(type_: np.ndarray) -> np.ndarray:
    return HEADER_BYTES[type_] + CRC_BYTES


def _unstuff(data: np.ndarray, start: np.ndarray, frame_bytes: np.ndarray) -> np.ndarray:
    """Turns code bytes into zeros in place, all frames in lockstep; says which frames were COBS.

    A frame here is shorter than 255 bytes, so a code byte FF always points past its end and every block ends in a zero:
    the packet is the frame without its first byte, with zeros where the other code bytes were.
    """
    good = np.ones(len(start), bool)
    ends = start + frame_bytes
    at, end = start, ends
    while len(at):
        for _ in range(_STEPS):
            code = data.take(at)
            data[at] = 0
            # At the end of a frame stands its zero: there it stays.
            at = at + code
            over = at > end
            if over.any():
                good[np.searchsorted(ends, end[over])] = False
                at[over] = end[over]
        on = at < end
        at, end = at[on], end[on]
    return good


_CRC_BYTES = 8  # so many bytes at once
# Packets are looked at in rows of so many bytes. The recorder's packets of events go into the first.
_WIDTHS = (48, MOST_PACKET)
# By width and length: ones over the bytes of a packet in its row. A row is one element, which numpy copies fastest.
_MASKS = {
    width: np.where(np.arange(MOST_PACKET + 1)[:, np.newaxis] > np.arange(width), 0xFF, 0)
    .astype(np.uint8)
    .view(f"V{width}")
    .ravel()
    for width in _WIDTHS
}
# What the register holds after a whole packet and the zeros behind it, by the packet's length: the two inverted bytes
# of the CRC leave FFFF, whatever came before them.
_AFTER = np.array(
    [
        crc16(b"\xff\xff" + bytes(zeros)) ^ crc16(bytes(2 + zeros))
        for zeros in range(MOST_PACKET + _CRC_BYTES, _CRC_BYTES - 1, -1)
    ],
    np.uint16,
)


def _crc_holds(data: np.ndarray, start: np.ndarray, length: np.ndarray) -> np.ndarray:
    """Whether the last two bytes of each packet are its CRC."""
    holds = np.zeros(len(start), bool)
    least = 0
    for width in _WIDTHS:
        which = np.flatnonzero((length > least) & (length <= width))
        register = _registers(data, start[which], length[which], width)
        holds[which] = register == _AFTER[length[which] + MOST_PACKET - width]
        least = width
    return holds


def _registers(data: np.ndarray, start: np.ndarray, length: np.ndarray, width: int) -> np.ndarray:
    """What the register holds after each packet, made `width` bytes long by zeros, and eight zeros more.

    Eight bytes a step, all packets in lockstep.
    """
    rows = at_every_byte(data, f"V{width}")[start].view(np.uint8).reshape(-1, width)
    rows &= _MASKS[width][length].view(np.uint8).reshape(-1, width)
    rows[:, :2] ^= 0xFF  # the register's initial value
    wide = _divided(rows.view(">u8").T.astype(np.uint64))
    return _divided(wide.astype(">u8").view(">u2").reshape(-1, 4).T.astype(np.uint16))


def _divided(words: np.ndarray) -> np.ndarray:
    """The register after all `words`, one row after the other; as wide as they are.

    In 16 bits it holds the remainder modulo P = x^16 + x^12 + x^5 + 1. In two or four times as many it holds that
    modulo P^2 or P^4, which P divides: squaring modulo 2 doubles the exponents and leaves the terms as they are.
    """
    times = words.itemsize // 2
    register, out, other = np.zeros((3, words.shape[1]), words.dtype)
    for word in words:
        # The register, with the word, times x^16. So few terms need no table: x^16 is x^12 + x^5 + 1, and what these
        # shifts push out at the top (at most three times) comes in again below.
        register ^= word
        np.right_shift(register, 4 * times, out=out)
        np.right_shift(register, 11 * times, out=other)
        out ^= other
        register ^= out
        np.right_shift(out, 11 * times, out=other)
        out >>= 4 * times
        out ^= other
        register ^= out
        out >>= 4 * times
        register ^= out
        np.left_shift(register, 12 * times, out=out)
        np.left_shift(register, 5 * times, out=other)
        register ^= out
        register ^= other
    return register
