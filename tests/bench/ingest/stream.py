"""A long play log like that of an evening's playtest, for benchmarks: written once, by the Python encoder."""

import random
from pathlib import Path

from ingest.wire.encoder import Encoder
from tests.ingest.logs import shooter

# Between two events of one kind, in ms. What a shooter logs at 30 frames a second, positions at every frame.
_PERIODS_MS = {"at": 33, "key": 180, "mood": 900, "took": 9000}
_RUN_S = 90


def write_stream(path: Path, events: int, seed: int = 1, distinct: int = 200_000) -> None:
    """Writes a log of at least `events` events: power-ups of `distinct` events each, at most four different ones."""
    parts, count = [], 0
    while count < events:
        if len(parts) < 4:
            parts.append(_power_up(random.Random(seed + len(parts)), min(distinct, events), nonce=len(parts) + 1))
        count += parts[-1][1] if len(parts) < 4 else sum(part[1] for part in parts)
    with path.open("wb") as log:
        written, number = 0, 0
        while written < events:
            data, had = parts[number % len(parts)]
            log.write(data)
            written += had
            number += 1


def _power_up(dice: random.Random, events: int, nonce: int) -> tuple[bytes, int]:
    encoder = Encoder(shooter(), [3, 500], nonce=nonce)
    out = [encoder.power_up()]
    count = tick = 0
    while count < events:
        tick += 2_000_000
        for at, kind, fields in _run(dice, tick):
            out.append(encoder.event(at, kind, fields))
            count += 1
            tick = at
    out.append(encoder.flush())
    return b"".join(out), count


def _run(dice: random.Random, start: int) -> list[tuple[int, str, dict[str, int]]]:
    """One run: two stages, a death now and then."""
    length = _RUN_S * 1_000_000
    found: list[tuple[int, str, dict[str, int]]] = [
        (start, "begin", {"who": dice.randrange(1, 30), "lives": 3}),
        (start, "enter", {"stage": 1, "boss": 0}),
        (start + length // 2, "leave", {"cleared": 1}),
        (start + length // 2 + 1_000_000, "enter", {"stage": 2, "boss": 0}),
        (start + length, "leave", {"cleared": 0}),
        (start + length, "over", {"how": 1, "score": dice.randrange(10_000)}),
    ]
    for at in sorted(dice.sample(range(start + 1, start + length), 3)):
        found.append(
            (at, "fell", {"x": dice.randrange(160), "y": dice.randrange(128), "why": 1, "lives": 2, "tier": 0})
        )
        found.append((at + 500_000, "born", {"lives": 2}))
    for kind, period_ms in _PERIODS_MS.items():
        at = start
        while (at := at + period_ms * 1000 + dice.randrange(-5000, 5000)) < start + length:
            if kind == "at":
                fields = {"x": dice.randrange(160), "y": dice.randrange(128)}
            elif kind == "key":
                fields = {"lane": dice.randrange(4), "before": dice.randrange(5000)}
            elif kind == "took":
                fields = {"tier": dice.randrange(4)}
            else:
                fields = {"deep": dice.randrange(1 << 30), "small": -3, "odd": -300}
            found.append((at, kind, fields))
    over = start + length
    return sorted((event for event in found if event[0] <= over), key=lambda event: event[0])
