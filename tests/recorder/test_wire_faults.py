"""A bad line: whatever happens to some bytes, everything else survives, and hardly anything wrong is taken for right.

The logs are those of the demo games, which the C recorder wrote; the decoder is the product's.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import poisson

import demo_logs
from ingest.wire.framing import Damage, Framer
from tests.bench.recorder import shooter
from tests.bench.recorder.budget import events_lost
from tests.ingest.product import product
from tests.recorder.native import Script

SHOOTER_DEMO = Path(demo_logs.__file__).parent / "soot_wardens_a_table1.playlog"

TRIALS = 600_000


def recorded(minutes: float = 3, seed: int = 1) -> bytes:
    """Busy play as the C recorder sends it."""
    dictionary, values = shooter.dictionary()
    script = Script(dictionary, values)
    frame = 0
    for tick, kind, fields in shooter.stream(minutes, seed, first_stage=2):
        while frame <= tick:
            script.poll(frame)
            script.drain(frame)
            frame += 17
        script.event(tick, kind, fields)
    script.flush(frame)
    script.drain(frame)
    return script.run()


def test_wrong_packets_are_accepted_as_rarely_as_the_crc_promises() -> None:
    """Of more than 600,000 spoilt frames that come as far as the CRC, one in 2^16 passes it by chance.

    Any 16-bit check does that for damage that it was not made to find (bursts longer than its 16 bits); the bounds
    are those that a Poisson count passes once in 5,000 times. Most frames that lost or doubled a byte do not even come
    as far: their COBS blocks do not add up any more.
    """
    frames = [frame for frame in recorded().split(b"\0") if frame]
    places = [_data_places(frame) for frame in frames]
    right = set(_packets(b"\0".join(frames) + b"\0")[0])
    dice = random.Random(20240)
    chance = dice.random
    reached = wrong = 0
    while reached < TRIALS:
        spoilt = []
        for _ in range(40_000):
            number = int(chance() * len(frames))
            frame = bytearray(frames[number])
            how = chance()
            if how < 0.9:  # three bytes of the packet changed, in a way that COBS does not see
                where = places[number]
                for _ in range(3):
                    at = where[int(chance() * len(where))]
                    frame[at] = 1 + (frame[at] + int(chance() * 254)) % 255
            elif how < 0.93:
                del frame[int(chance() * len(frame))]
            elif how < 0.96:
                at = int(chance() * len(frame))
                frame.insert(at, frame[at])
            else:  # cut in the middle, and the end of another frame
                other = frames[int(chance() * len(frames))]
                frame[int(chance() * len(frame)) :] = other[int(chance() * len(other)) :]
            spoilt.append(bytes(frame))
        accepted, reasons = _packets(b"\0".join(spoilt) + b"\0")
        false = sum(packet not in right for packet in accepted)
        wrong += false
        reached += reasons.count(Damage.CRC) + false
    expected = reached / 2**16
    assert poisson.ppf(1e-4, expected) <= wrong <= poisson.ppf(1 - 1e-4, expected), (wrong, expected)


def _data_places(frame: bytes) -> list[int]:
    """The places in a frame that hold bytes of the packet, not lengths of COBS blocks."""
    places: list[int] = []
    at = 0
    while at < len(frame):
        places += range(at + 1, at + frame[at])
        at += frame[at]
    return places


def _packets(stream: bytes) -> tuple[list[bytes], list[Damage]]:
    found = Framer().feed(stream)
    data = found.data.tobytes()
    spans = zip(found.start.tolist(), found.length.tolist(), strict=True)
    return [data[start : start + length] for start, length in spans], found.bad_reason


def _flip(data: np.ndarray, hit: np.ndarray, dice: np.random.Generator) -> np.ndarray:
    out = data.copy()
    out[hit] ^= dice.integers(1, 256, int(hit.sum()), dtype=np.uint8)
    return out


SLACK = 4  # standard errors

FAULTS: dict[str, Callable[[np.ndarray, np.ndarray, np.random.Generator], np.ndarray]] = {
    "flipped": _flip,
    "lost": lambda data, hit, dice: data[~hit],
    "doubled": lambda data, hit, dice: np.repeat(data, 1 + hit),
}


@pytest.mark.parametrize("stream", ["busy", "demo"])
@pytest.mark.parametrize("fault", FAULTS)
def test_one_bad_byte_in_ten_thousand(fault: str, stream: str) -> None:
    """At most ten events are lost for a bad byte, nothing is invented, and the damage is counted.

    The mean over all places a bad byte can have is counted; logs that are really damaged must agree with it. Where a
    zero between two frames is doubled, nothing is lost, so doubled bytes cost a little less.
    """
    log = recorded(minutes=10) if stream == "busy" else SHOOTER_DEMO.read_bytes()
    expected = events_lost(log)
    assert expected <= 10
    data = np.frombuffer(log, np.uint8)
    whole = Counter(event[2:] for event in product([log]).events)
    per_bad_byte: list[float] = []
    bad = 0
    for seed in range(12):
        dice = np.random.default_rng(seed)
        hit = dice.random(len(data)) < 1e-4
        answer = product([FAULTS[fault](data, hit, dice).tobytes()])
        got = Counter(event[2:] for event in answer.events)
        assert got <= whole
        assert len(answer.rejected) + len(answer.gaps) > 0.5 * hit.sum()
        bad += int(hit.sum())
        per_bad_byte.append((whole.total() - got.total()) / max(1, hit.sum()))
    assert bad >= 80
    error = float(np.std(per_bad_byte) / np.sqrt(len(per_bad_byte)))
    mean = float(np.mean(per_bad_byte))
    assert mean <= expected + SLACK * error
    if fault != "doubled":
        assert mean >= expected - SLACK * error


def test_cut_in_the_middle() -> None:
    """A log that ends anywhere, and one that begins anywhere, keeps all whole packets that are left."""
    data = SHOOTER_DEMO.read_bytes()
    whole = product([data])
    dice = random.Random(1)
    for _ in range(6):
        at = dice.randrange(3_000, len(data))
        left = product([data[:at]])
        kept = at - left.tail_bytes
        assert left.tail_bytes <= 130
        assert left.events == [event for event in whole.events if event[1] < kept]
        assert not left.rejected
    # The dictionary comes again: of what is left of the log, the first packet is lost at most.
    at = len(data) // 3
    right = product([data[at:]])
    begins = data.index(0, at) + 1
    assert [event[2:] for event in right.events] == [event[2:] for event in whole.events if event[1] >= begins]
    assert len(right.rejected) <= 1
