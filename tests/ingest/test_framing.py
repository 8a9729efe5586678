"""Frames and checksums against what others published, and against other people's code."""

import random

import cobs.cobs
import numpy as np
import pytest
from crccheck.crc import Crc16Genibus

from ingest.wire.checksum import crc16
from ingest.wire.cobs import stuff
from ingest.wire.framing import LEAST_PACKET, MOST_PACKET, Damage, Framer
from tests import reference
from tests.ingest.logs import cut

# The check value of CRC-16/GENIBUS in the catalogue of parametrised CRC algorithms (from memory; the package crccheck
# agrees below). With a final XOR of 0 (CRC-16/IBM-3740) the same bytes give 0x29B1.
CHECK = b"123456789"

# Cheshire & Baker 1999, the example of a header and its encoding (from memory; the package cobs agrees below).
PAPER = ("45 00 00 2C 4C 79 00 00 40 06 4F 37", "02 45 01 04 2C 4C 79 01 05 40 06 4F 37")


def test_crc_check_value() -> None:
    assert crc16(CHECK) == 0xD64E
    assert crc16(CHECK) ^ 0xFFFF == 0x29B1
    assert reference.crc_bitwise(CHECK) == 0xD64E


def test_crc_agrees_with_another_implementation() -> None:
    dice = random.Random(1)
    for length in range(0, 140):
        data = dice.randbytes(length)
        assert crc16(data) == Crc16Genibus.calc(data) == reference.crc_bitwise(data)


def test_trailing_zeros_are_not_accepted() -> None:
    """Why the final XOR is there: COBS makes trailing zeros easily, and without it they would pass the check."""
    packet = CHECK + crc16(CHECK).to_bytes(2, "big")
    assert crc16(packet + b"\0") != crc16(packet)
    plain = CHECK + (crc16(CHECK) ^ 0xFFFF).to_bytes(2, "big")
    assert crc16(plain) ^ 0xFFFF == crc16(plain + b"\0") ^ 0xFFFF == 0


def test_cobs_example_of_the_paper() -> None:
    plain, stuffed = (bytes.fromhex(text) for text in PAPER)
    assert stuff(plain) == stuffed == cobs.cobs.encode(plain)
    assert reference.unstuff(stuffed) == plain


@pytest.mark.parametrize("length", [0, 1, 2, 11, 127, 128, 253, 254, 255, 256, 508, 509])
@pytest.mark.parametrize("zeros", [0.0, 0.1, 0.9, 1.0])
def test_cobs_agrees_with_another_implementation(length: int, zeros: float) -> None:
    dice = random.Random(length)
    data = bytes(0 if dice.random() < zeros else dice.randrange(1, 256) for _ in range(length))
    assert cobs.cobs.decode(stuff(data)) == data
    assert reference.unstuff(cobs.cobs.encode(data)) == data == reference.unstuff(stuff(data))
    assert 0 not in stuff(data)


@pytest.mark.parametrize("frame", [b"\x03a", b"\xff", b"\x02a\x05bc"])
def test_a_code_byte_past_the_end_is_damage(frame: bytes) -> None:
    assert reference.unstuff(frame) is None
    assert Framer().feed(frame + b"\0").bad_code.size == 1


def _packet(dice: random.Random, length: int, zeros: float) -> bytes:
    head = (b"\x11" if length > 10 else b"\x14") + bytes(
        0 if dice.random() < zeros else dice.randrange(256) for _ in range(length - 3)
    )
    return head + Crc16Genibus.calc(head).to_bytes(2, "big")


@pytest.mark.parametrize("zeros", [0.0, 0.2, 0.95])
def test_framer_finds_packets_of_every_length_in_every_cutting(zeros: float) -> None:
    dice = random.Random(7)
    sent = [_packet(dice, length, zeros) for length in [*range(8, 129), *range(128, 7, -1)]]
    stream = b"\0" + b"\0".join(cobs.cobs.encode(packet) for packet in sent) + b"\0\0\0tail"
    for pieces in (1, 2, 50, len(stream)):
        framer = Framer()
        got, offsets = [], []
        for chunk in (
            cut(stream, dice, pieces) if pieces < len(stream) else [stream[i : i + 1] for i in range(len(stream))]
        ):
            packets = framer.feed(chunk)
            assert not packets.bad_reason
            for start, length in zip(packets.start.tolist(), packets.length.tolist(), strict=True):
                got.append(packets.data[start : start + length].tobytes())
            offsets += packets.offset.tolist()
        assert got == sent
        assert all(stream[at - 1] == 0 and stream[at] != 0 for at in offsets)
        assert framer.tail_bytes == 4


def test_each_changed_bit_of_a_packet_is_found() -> None:
    """A CRC of 16 bits finds every single changed bit; here each of them, in every byte of the frame."""
    frame = cobs.cobs.encode(_packet(random.Random(3), 60, 0.2))
    for bit in range(8 * len(frame)):
        changed = bytearray(frame)
        changed[bit // 8] ^= 1 << bit % 8
        packets = Framer().feed(b"\0" + bytes(changed) + b"\0")
        assert len(packets.start) == 0
        # A bit that makes a zero ends the frame there, so that there are two pieces.
        assert 1 <= len(packets.bad_reason) <= 2


def _frame(packet: bytes) -> bytes:
    return cobs.cobs.encode(packet + Crc16Genibus.calc(packet).to_bytes(2, "big"))


def test_length_limits_and_reasons() -> None:
    def reasons(frame: bytes) -> list[Damage]:
        return Framer().feed(frame + b"\0").bad_reason

    dice = random.Random(5)
    assert reasons(cobs.cobs.encode(_packet(dice, 7, 0.0))) == [Damage.LENGTH]
    assert reasons(cobs.cobs.encode(_packet(dice, 129, 0.0))) == [Damage.LENGTH]
    assert reasons(b"\x03" + b"a" * 20) == [Damage.COBS]
    assert reasons(b"\x15" + b"a" * 20) == [Damage.CRC]
    for type_, reason in ((0x21, Damage.VERSION), (0x01, Damage.VERSION), (0x10, Damage.TYPE), (0x15, Damage.TYPE)):
        assert reasons(_frame(bytes([type_]) + b"abcdefghi")) == [reason]
    # Types 1 to 3 have headers of nine bytes, short events one of six.
    for type_, least in ((0x11, 9), (0x12, 9), (0x13, 9), (0x14, 6)):
        assert reasons(_frame(bytes([type_]) + b"abcdefgh"[: least - 2])) == [Damage.LENGTH]
        assert reasons(_frame(bytes([type_]) + b"abcdefgh"[: least - 1])) == []


def test_a_stream_without_zeros_takes_no_memory() -> None:
    framer = Framer()
    for _ in range(200):
        framer.feed(b"\x05" * 10_000)
    assert framer.tail_bytes == 2_000_000
    assert len(framer._rest) < 200
    packets = framer.feed(b"\0" + cobs.cobs.encode(_packet(random.Random(5), 20, 0.1)) + b"\0")
    assert packets.bad_reason == [Damage.LENGTH] and packets.bad_offset.tolist() == [0]
    assert packets.offset.tolist() == [2_000_001]
    assert np.array_equal(packets.length, [20])


def test_one_wrong_bit_is_told_in_packets_of_every_length() -> None:
    """Whole packets pass, among others that differ from them in one bit; those do not."""
    dice = random.Random(1)
    whole, stream = [], b""
    for length in [*range(LEAST_PACKET, MOST_PACKET + 1)] * 4:
        packet = (dice.choice((b"\x11", b"\x14")) if length > 10 else b"\x14") + dice.randbytes(length - 3)
        packet += crc16(packet).to_bytes(2, "big")
        at = dice.choice((0, 1, length - 2, length - 1, dice.randrange(length)))
        bent = packet[:at] + bytes([packet[at] ^ 1 << dice.randrange(8)]) + packet[at + 1 :]
        whole.append(packet)
        stream += stuff(packet) + b"\0" + stuff(bent) + b"\0"
    found = Framer().feed(stream)
    assert [found.data[a : a + n].tobytes() for a, n in zip(found.start, found.length, strict=True)] == whole
    assert found.bad_reason == [Damage.CRC] * len(whole)
