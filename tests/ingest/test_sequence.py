"""Gaps, repetitions and drops where short events tell only the low byte of their sequence (FORMAT.md, section 2).

What is expected stands in the tests, worked out by hand; both decoders must say it, the product in any cutting.
"""

import pytest

from ingest.wire.checksum import crc16
from ingest.wire.cobs import stuff
from ingest.wire.dictionary import Dictionary, Kind
from tests.ingest.logs import header
from tests.ingest.product import Answer, plainly, product

GAME = Dictionary("Any", "0", 1000, (1, 1), (Kind("a"),))
TEXT = GAME.text


class Wire:
    """Packets as a writer makes them; `lose` leaves some out."""

    def __init__(self, sequence: int, nonce: int = 1, time: int = 1000):
        self.sequence, self.nonce, self.time, self.dropped = sequence, nonce, time, 0
        self.log = b"\0"

    def lose(self, packets: int) -> "Wire":
        self.sequence, self.time = self.sequence + packets, self.time + 20 * packets
        return self

    def _send(self, type_: int, body: bytes) -> "Wire":
        packet = header(type_, self.sequence & 0xFFFF, self.dropped & 0xFFFF, self.time & 0xFFFFFFFF) + body
        self.last = stuff(packet + crc16(packet).to_bytes(2, "big")) + b"\0"
        self.log += self.last
        self.sequence, self.time = self.sequence + 1, self.time + 20
        return self

    def short(self, packets: int = 1) -> "Wire":
        for _ in range(packets):
            self._send(0x14, b"\0")
        return self

    def long(self) -> "Wire":
        return self._send(0x11, b"\0")

    def about(self) -> "Wire":
        """Settings and the dictionary."""
        self._send(0x13, crc16(TEXT).to_bytes(2, "little") + self.nonce.to_bytes(2, "little") + b"\0\0")
        return self._send(0x12, b"".join(n.to_bytes(2, "little") for n in (crc16(TEXT), len(TEXT), 0)) + TEXT)

    def again(self) -> "Wire":
        """The last packet once more."""
        self.log += self.last
        return self

    def read(self) -> Answer:
        answer = plainly(self.log)
        assert product([self.log]) == answer
        assert product(self.log[i : i + 1] for i in range(len(self.log))) == answer
        return answer


def gaps(wire: Wire) -> list[int]:
    answer = wire.read()
    assert not answer.rejected
    return [count for _, count in answer.gaps]


@pytest.mark.parametrize("start", [0, 250, 255, 256, 65_000, 65_530, 65_535])
def test_the_low_byte_and_the_whole_sequence_wrap(start: int) -> None:
    wire = Wire(start).about().short(600).about().short(300).long().short(2).about()
    answer = wire.read()
    assert not answer.gaps and not answer.rejected and answer.count == 903


@pytest.mark.parametrize("start", [0, 77, 65_400])
@pytest.mark.parametrize(
    ("lost", "at_once", "later"),
    [
        (1, [1], []),
        (253, [253], []),
        (254, [254], []),  # a step of 255
        (255, [255], []),  # of 256: the same low byte, at another time
        (256, [], [256]),  # of 257, which looks like one of 1
        (257, [1], [256]),
        (511, [255], [256]),
        (512, [], [512]),
        (1000, [232], [768]),
    ],
)
def test_gaps(start: int, lost: int, at_once: list[int], later: list[int]) -> None:
    """In front of short events; what the low byte does not tell comes with the next dictionary, and is told once."""
    wire = Wire(start).about().short(5).lose(lost).short(20)
    assert gaps(wire) == at_once
    assert gaps(wire.about().short(3).about()) == at_once + later
    # In front of any other packet the gap is known at once.
    assert gaps(Wire(start).about().short(5).lose(lost).about().short(3)) == [lost]
    assert gaps(Wire(start).about().short(5).lose(lost).long().short(3)) == [lost]


def test_two_gaps_before_a_dictionary_add_up() -> None:
    wire = Wire(10).about().short(5).lose(300).short().lose(255).short(3).lose(512).short().about()
    assert gaps(wire) == [44, 255, 256 + 512]


def test_the_same_packet_again_is_used_once() -> None:
    for wire, events in (
        (Wire(3).about().short(2).again().short(2).about(), 4),
        (Wire(3).about().short(2).again().again().short(2).about(), 4),
        (Wire(3).about().short(2).long().again().short(2).about(), 5),
        (Wire(3).about().again().short(2).about(), 2),
        (Wire(3).short(2).again().about().short(), 3),
    ):
        answer = wire.read()
        assert answer.count == events and not answer.gaps
        assert {reason for _, reason in answer.rejected} == {"repeated"}


def test_drops_that_begin_in_the_middle() -> None:
    """From then on the headers are long ones; after 65,536 drops the counter is 0 again, and they may be short."""
    wire = Wire(250).about().short(10)
    wire.dropped = 3
    wire.long().about().long()
    wire.dropped = 5
    wire.lose(2).long().about()
    wire.dropped = 65_536
    answer = wire.short(2).about().short().read()
    assert [count for _, count in answer.drops] == [3, 2, 65_531]
    assert [count for _, count in answer.gaps] == [2] and answer.count == 16


def test_a_capture_that_begins_with_short_events() -> None:
    """Their high byte is not known, and not taken for a gap; from the first long header on it is."""
    assert gaps(Wire(1000).short(3).about().short(2).about()) == []
    assert gaps(Wire(1000).short(3).lose(4).about().short(2)) == [4]
    assert gaps(Wire(1000).short(300).long().short(2).about()) == []
    assert gaps(Wire(65_530).short(20).about().short(3)) == []
    # What is lost in front of that first header is known modulo 256 only; behind it all is.
    assert gaps(Wire(1000).short(3).lose(255).about().short(2)) == [255]
    assert gaps(Wire(1000).short(3).lose(256).about().short(2)) == []
    assert gaps(Wire(1000).short(3).about().lose(256).short(2).about()) == [256]


def test_a_reset_begins_anew() -> None:
    """With settings of another nonce, or with short events at an earlier time."""
    wire = Wire(40_000).about().short(7)
    other = Wire(12, nonce=2, time=50_000).about().short(3).about()
    wire.log += other.log
    answer = wire.read()
    assert len(answer.power_ups) == 2 and not answer.gaps and answer.count == 10
    wire = Wire(40_000, time=90_000).about().short(7)
    wire.log += Wire(12_345, nonce=2, time=500).short(3).about().lose(256).short().about().log
    answer = wire.read()
    assert len(answer.power_ups) == 2 and answer.count == 11
    assert [count for _, count in answer.gaps] == [256]
