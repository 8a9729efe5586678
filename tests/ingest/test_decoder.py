"""The fast decoder gives what the plain one gives, for every log, damaged or not, in every cutting into chunks."""

import random
from collections import Counter

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.wire.checksum import crc16
from ingest.wire.cobs import stuff
from ingest.wire.framing import Framer
from ingest.wire.session import Session
from ingest.wire.waiting import HELD_BYTES
from tests.ingest.logs import Play, cut, damage, evil, lengthened, shooter
from tests.ingest.product import plainly, product

SEEDS = st.integers(0, 1 << 30)
_FEW = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))


@_FEW
@given(seed=SEEDS, pieces=st.integers(2, 60))
def test_whole_logs(seed: int, pieces: int) -> None:
    log = Play(seed).log()
    expected = plainly(log)
    assert expected.events and not expected.rejected and not expected.unread_bytes
    assert product([log]) == expected
    assert product(cut(log, random.Random(seed), pieces)) == expected


@_FEW
@given(seed=SEEDS, pieces=st.integers(1, 60))
def test_logs_from_before_there_were_short_events(seed: int, pieces: int) -> None:
    """They have packets of types 1 to 3 only, and say the same."""
    log = Play(seed).log()
    before = lengthened(log)
    assert b"\0\x03\x14" not in before and len(before) > len(log)
    old, new = product(cut(before, random.Random(seed), pieces)), product([log])
    assert old == plainly(before)
    assert [(up, *rest) for up, _, *rest in old.events] == [(up, *rest) for up, _, *rest in new.events]
    assert [count for _, count in old.drops] == [count for _, count in new.drops]
    assert not old.gaps and not old.rejected
    assert [rest for _, *rest in old.power_ups] == [rest for _, *rest in new.power_ups]


@_FEW
@given(seed=SEEDS, times=st.integers(1, 15), pieces=st.integers(1, 60))
def test_damaged_logs(seed: int, times: int, pieces: int) -> None:
    dice = random.Random(seed)
    log = damage(Play(seed, runs=2).log(), dice, times)
    assert product(cut(log, dice, pieces)) == plainly(log)


@_FEW
@given(seed=SEEDS, packets=st.integers(1, 150), pieces=st.integers(1, 60))
def test_hostile_packets_with_right_checksums(seed: int, packets: int, pieces: int) -> None:
    dice = random.Random(seed)
    log = evil(dice, packets)
    assert product(cut(log, dice, pieces)) == plainly(log)


def test_byte_by_byte() -> None:
    for log in (Play(1, runs=1).log(), damage(Play(2, runs=1).log(), random.Random(2), 5), evil(random.Random(3), 60)):
        assert product(log[i : i + 1] for i in range(len(log))) == plainly(log)


@settings(max_examples=30, deadline=None)
@given(data=st.lists(st.binary(max_size=300), max_size=8))
def test_any_bytes(data: list[bytes]) -> None:
    assert product(data) == plainly(b"".join(data))


def test_the_logs_of_these_tests_show_every_kind_of_damage() -> None:
    """The properties above would say little if the logs were tame."""
    seen: Counter[str] = Counter()
    for seed in range(40):
        for log in (damage(Play(seed, runs=2).log(), random.Random(seed), 6), evil(random.Random(seed), 120)):
            answer = plainly(log)
            seen.update(reason for _, reason in answer.rejected)
            seen.update(
                gap=len(answer.gaps),
                drop=len(answer.drops),
                unread=answer.unread_bytes > 0,
                newer=len(answer.newer),
                reset=len(answer.power_ups) > 1,
                refused=answer.refused,
                events=len(answer.events),
            )
    for what in (
        "length",
        "cobs",
        "crc",
        "type",
        "body",
        "repeated",
        "gap",
        "drop",
        "unread",
        "newer",
        "reset",
        "refused",
    ):
        assert seen[what] >= 3, (what, seen)
    assert seen["events"] > 5000


def test_surviving_events_are_those_of_undamaged_packets() -> None:
    """Nothing is invented and nothing good is lost: against the log as it was before the damage."""
    for seed in range(30):
        dice = random.Random(seed)
        log = Play(seed, runs=2, resets=False).log()
        frames = [frame for frame in log.split(b"\0") if frame]
        gone = set(dice.sample(range(12, len(frames)), min(3, len(frames) - 12)))
        bent = [bytes(b ^ 0x55 or 1 for b in frame) if i in gone else frame for i, frame in enumerate(frames)]
        whole = product([log])
        offsets, at = [], 1
        for frame in frames:
            offsets.append(at)
            at += len(frame) + 1
        lost = {offsets[i] for i in gone}
        got = product([b"\0" + b"\0".join(bent) + b"\0"])
        assert [e[2:] for e in got.events if e[1] not in lost] == [e[2:] for e in whole.events if e[1] not in lost]
        assert sum(count for _, count in got.gaps) + len(lost & {offsets[-1]}) >= len(gone) - 1
        assert len(got.rejected) >= len(gone) - sum(len(frames[i]) < 12 for i in gone)


def _events_packet(sequence: int, body: bytes) -> bytes:
    packet = b"\x11" + (sequence & 0xFFFF).to_bytes(2, "little") + bytes(6) + body
    return stuff(packet + crc16(packet).to_bytes(2, "big")) + b"\0"


def test_what_waits_for_a_dictionary_is_bounded_and_counted() -> None:
    """1.5 MiB of packets that begin in the middle, then the dictionary: 1 MiB is held, the rest read in a second go."""
    kind = next(i for i, k in enumerate(shooter().kinds) if k.name == "at")
    body = bytes([4 * kind, 1, 2] * 39)
    size = 9 + len(body) + 2
    count = 3 * HELD_BYTES // 2 // size
    early = b"".join(_events_packet(i, body) for i in range(count))
    rest = Play(1, runs=1, resets=False).log()
    kept = HELD_BYTES // size
    chunks = [early[i : i + 50_000] for i in range(0, len(early), 50_000)] + [rest]
    framer, session = Framer(), Session()
    held = sum(len(span.start) for chunk in chunks for span in session.feed(framer.feed(chunk))[0])
    assert session.unread_bytes == (count - kept) * size and kept <= held < kept + 100
    # The settings that follow carry the first nonce, so the early packets are of the same power-up.
    answer = product(chunks)
    assert answer.unread_bytes == 0
    assert sum(1 for event in answer.events if event[3] == "at" and event[1] < len(early)) == 39 * count
