"""Mutated logs by the million: no crash, no hang, and exact events or counted damage.

    python -m tests.bench.ingest.fuzz LOGS [SEED]

A stream is some hundred small logs, one after the other, mutated together by numpy: bits, bytes and runs of bytes
changed, pieces cut out, repeated and moved; every third stream is mutated in its packets, which then get right
checksums. Every stream must add up (each frame is a packet or counted), is cut into chunks at random, and takes
bounded time and memory. Every so many streams the answer is compared with the plain decoder's, and the stream imported
into a study that must agree.
"""

import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np

from ingest.study.store import import_log, open_study
from ingest.wire.checksum import crc16
from ingest.wire.cobs import stuff
from tests.bench.peak import peak_mb
from tests.ingest.logs import Play, cut, evil
from tests.ingest.product import Answer, plainly, product
from tests.reference import unstuff

LOGS_A_STREAM = 100
_MOST_SECONDS = 30.0
_MOST_MB = 1000
CORPUS = Path(__file__).parents[2] / "corpus"


def corpus(seed: int, count: int = 60) -> list[bytes]:
    """Small logs to begin with: orderly, hostile, and those kept because they once broke something."""
    dice = random.Random(seed)
    kept = [path.read_bytes() for path in sorted(CORPUS.glob("*.playlog"))]
    whole = [Play(seed + i, runs=1).log() for i in range(count // 2)]
    ends = [log[-dice.randrange(60, 400) :] for log in whole]
    starts = [log[: dice.randrange(900, 1500)] for log in whole[::10]]
    return kept + ends + starts + [evil(random.Random(seed + i), 4) for i in range(count // 2)]


def mutated(dice: random.Random, logs: list[bytes]) -> bytes:
    """A stream of many logs, mutated about three times a log."""
    # The dictionary once in front, whole: otherwise little could be read.
    stream = np.frombuffer(b"\0".join([Play(1, runs=1).log(), *dice.choices(logs, k=LOGS_A_STREAM)]), np.uint8).copy()
    rng = np.random.default_rng(dice.randrange(1 << 60))
    flips = rng.integers(0, len(stream), LOGS_A_STREAM)
    stream[flips] ^= np.uint8(1) << rng.integers(0, 8, LOGS_A_STREAM).astype(np.uint8)
    stream[rng.integers(0, len(stream), LOGS_A_STREAM // 2)] = rng.integers(0, 256, LOGS_A_STREAM // 2)
    stream[rng.integers(0, len(stream), LOGS_A_STREAM // 4)] = 0
    places = np.sort(rng.integers(0, len(stream), LOGS_A_STREAM))
    pieces = np.split(stream, places)
    for _ in range(LOGS_A_STREAM // 2):
        i, j = dice.randrange(len(pieces)), dice.randrange(len(pieces))
        match dice.randrange(5):
            case 0:
                pieces[i] = pieces[i][: dice.randrange(len(pieces[i]) + 1)]
            case 1:
                pieces[i] = np.concatenate((pieces[i], pieces[i]))
            case 2:
                pieces[i], pieces[j] = pieces[j], pieces[i]
            case 3:
                pieces[i] = np.concatenate((pieces[i], pieces[j][:400]))
            case 4:
                pieces[i] = rng.integers(0, 256, dice.choice((1, 20, 300)), np.uint8)
    return np.concatenate(pieces).tobytes()


def mutated_inside(dice: random.Random, logs: list[bytes]) -> bytes:
    """As `mutated`, but in the packets before framing: the checksums are right."""
    out = [Play(1, runs=1).log()]
    for log in dice.choices(logs, k=LOGS_A_STREAM):
        for frame in log.split(b"\0"):
            if not 9 <= len(frame) <= 129:
                continue
            packet = bytearray((unstuff(frame) or b"")[:-2])
            if not packet:
                continue
            if dice.random() < 0.3:
                at = dice.randrange(len(packet))
                body = 6 if packet[0] == 0x14 else 9
                match dice.randrange(4):
                    case 0:
                        packet[at] ^= 1 << dice.randrange(8)
                    case 1:
                        packet[at] = dice.randrange(256)
                    case 2:
                        del packet[max(body, at) :]
                    case 3:
                        packet[max(body, at) :] = dice.randbytes(dice.randrange(30))
                packet = packet[:126]
            out.append(stuff(bytes(packet) + crc16(bytes(packet)).to_bytes(2, "big")))
            out.append(b"\0")
    return b"".join(out)


def adds_up(stream: bytes, answer: Answer) -> None:
    """Each frame is a packet or counted; nothing is there twice."""
    frames = sum(1 for frame in stream.split(b"\0")[:-1] if frame)
    early = sum(1 for _, reason in answer.rejected if reason in ("length", "cobs", "crc", "type"))
    assert answer.packets + early + len(answer.newer) == frames
    assert answer.tail_bytes == len(stream) - stream.rfind(b"\0") - 1


def imports(stream: bytes, answer: Answer, folder: Path) -> None:
    """A study counts the same."""
    log, study = folder / "f.playlog", folder / "f.duckdb"
    log.write_bytes(stream)
    with open_study(study) as opened:
        result = import_log(opened, log)
        assert result.events == answer.count and result.packets == answer.packets
        assert result.rejected_packets == len(answer.rejected) and result.unread_bytes == answer.unread_bytes
        assert result.missing_packets == sum(count for _, count in answer.gaps)
        tables = opened.connection.execute("SELECT DISTINCT table_name FROM kinds").fetchall()
        rows = [opened.connection.execute(f"SELECT count(*) FROM {table}").fetchall()[0][0] for (table,) in tables]
        assert sum(rows) == result.events
    study.unlink()


def fuzz(logs: int, seed: int, compare_every: int = 10, import_every: int = 60, seconds: float = 1e9) -> Counter[str]:
    """Runs until `logs` logs or `seconds` are over; returns what was seen. Keeps the stream that fails."""
    seen: Counter[str] = Counter()
    begin = corpus(seed)
    started = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        while seen["logs"] < logs and time.monotonic() - started < seconds:
            number = seen["streams"]
            dice = random.Random(seed * 1_000_003 + number)
            stream = (mutated_inside if number % 3 == 2 else mutated)(dice, begin)
            before = time.process_time()
            try:
                compare, import_too = number % compare_every == 0, number % import_every == 0
                answer = product(cut(stream, dice, dice.randrange(1, 5)), rows=compare)
                assert time.process_time() - before < _MOST_SECONDS, "too slow"
                adds_up(stream, answer)
                if compare:
                    assert answer == plainly(stream), "differs from the plain decoder"
                    seen["compared"] += 1
                if import_too:
                    imports(stream, answer, Path(folder))
                    seen["imported"] += 1
            except BaseException:
                kept = Path(tempfile.gettempdir()) / f"fuzz_{seed}_{number}.playlog"
                kept.write_bytes(stream)
                print(f"kept as {kept}", file=sys.stderr)
                raise
            assert not peak_mb() >= _MOST_MB, "too much memory"
            seen.update(reason for _, reason in answer.rejected)
            seen.update(
                logs=LOGS_A_STREAM,
                streams=1,
                bytes=len(stream),
                events=answer.count,
                gaps=len(answer.gaps),
                power_ups=len(answer.power_ups),
                refused=answer.refused,
            )
    return seen


if __name__ == "__main__":
    total: Counter[str] = Counter()
    first = int(sys.argv[2]) if len(sys.argv) > 2 else int(time.time())
    while total["logs"] < int(sys.argv[1]):
        total.update(fuzz(min(50_000, int(sys.argv[1]) - total["logs"]), first + total["logs"]))
        print(dict(total), f"peak {peak_mb():.0f} MB", flush=True)
