"""A session of 40 runs on three consoles, each of its packets lost in turn, or bent: whose are the runs then?

    python -m tests.bench.ingest.lost_packets [EVERY]

Prints the table of ingest/CAPTURE.md. Players are typed in several ways; what is lost on the wire is not counted in the
sidecar either. EVERY: only every so many packets.
"""

import json
import random
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from ingest.capture.sidecar import sidecar_path
from ingest.study.store import Study, import_log, open_study
from ingest.vocabulary import EventRole, FieldRole, FieldType, TunableRole
from ingest.wire.dictionary import Dictionary, Field, Kind, Tunable
from ingest.wire.encoder import Encoder
from tests.reference import unstuff

RUNS = (14, 13, 13)
HABITS = ("just before", "in the run before", "all at first", "late", "mixed")
OUTCOMES = ("right", "open", "lost", "wrong")
_U8 = FieldType.U8
GAME = Dictionary(
    "Lantern Walk",
    "1.0",
    1000,
    (160, 128),
    (
        Kind("begin", EventRole.RUN_START, (Field("seed", FieldType.U16, FieldRole.SEED),)),
        Kind("over", EventRole.RUN_END, (Field("how", _U8, FieldRole.ENDING),)),
        Kind("enter", EventRole.STAGE_START, (Field("stage", _U8, FieldRole.STAGE),)),
        Kind("leave", EventRole.STAGE_END, (Field("through", _U8, FieldRole.CLEARED),)),
        Kind("born", EventRole.SPAWN, (Field("lives", _U8, FieldRole.LIVES),)),
        Kind(
            "fell",
            EventRole.DEATH,
            (Field("x", _U8, FieldRole.X), Field("y", _U8, FieldRole.Y), Field("lives", _U8, FieldRole.LIVES)),
        ),
        Kind("at", EventRole.POSITION, (Field("x", _U8, FieldRole.X), Field("y", _U8, FieldRole.Y))),
        Kind("key", EventRole.PRESS, (Field("lane", _U8, FieldRole.LANE),)),
    ),
    (Tunable("lives", TunableRole.START_LIVES, 1, 9, 1, "lives"),),
)
Said = tuple[int, int, dict[str, object]]  # at (ms), bytes by then, what


@dataclass
class Console:
    """What one console sent, frame by frame with the moment, and what was true: start, end, player of each run (ms)."""

    frames: list[tuple[int, bytes]] = field(default_factory=list)
    runs: list[tuple[int, int, str]] = field(default_factory=list)
    tags: list[tuple[int, str]] = field(default_factory=list)  # when typed, ascending


def console(dice: random.Random, runs: int, first_player: int, habit: str) -> Console:
    """One console's session. Every run is a player's, some have two in a row."""
    made = Console()
    encoder = Encoder(GAME, [3], nonce=dice.randrange(65536))
    _sent(made, 0, encoder.power_up())
    player, now = first_player, 20_000
    for number in range(runs):
        if number and dice.random() < 0.6:
            player += 1
        start = now
        for at, kind, fields in _one_run(dice, now):
            _sent(made, at, encoder.event(at, kind, fields))
            now = at
        made.runs.append((start, now, f"P{player:02d}"))
        for _ in range(dice.randrange(4)):  # somebody plays with the menu
            now += dice.randrange(400, 3000)
            _sent(made, now, encoder.event(now, "key", {"lane": 1}))
        _sent(made, now + 600, encoder.flush())
        now += dice.randrange(6_000, 25_000)
    made.tags = _typed(dice, made.runs, habit)
    return made


def _one_run(dice: random.Random, now: int) -> Iterator[tuple[int, str, dict[str, int]]]:
    yield now, "begin", {"seed": dice.randrange(65536)}
    yield now, "enter", {"stage": 1}
    ending = dice.choice((1, 1, 2, 0))
    for lives in (2, 1, 0):
        for _ in range(dice.randrange(8, 30)):
            now += 250
            yield now, "at", {"x": dice.randrange(160), "y": dice.randrange(128)}
        if lives == 1 and dice.random() < 0.5:
            yield now, "leave", {"through": 1}
            yield now + 100, "enter", {"stage": 2}
        if ending == 2 and dice.random() < 0.4:
            break
        if lives or ending == 1:
            now += 150
            yield now, "fell", {"x": 3, "y": 4, "lives": lives}
        if lives:
            now += 900
            yield now, "born", {"lives": lives}
    yield now + 300, "over", {"how": ending}


def _sent(made: Console, at: int, data: bytes) -> None:
    made.frames += [(at, frame + b"\0") for frame in data.split(b"\0") if frame]


def _typed(dice: random.Random, runs: list[tuple[int, int, str]], habit: str) -> list[tuple[int, str]]:
    tags = []
    for number, (start, _, player) in enumerate(runs):
        before = runs[number - 1] if number else (4_000, 12_000, "")
        how = dice.choice(HABITS[:2]) if habit == "mixed" else habit
        match how:
            case "just before":
                at = dice.randrange(before[1] + 500, start - 200)
            case "in the run before":
                at = dice.randrange(before[0] + 1_000, before[1])
            case "late":
                at = start + dice.randrange(500, 9_000)
            case _:
                at = 2_000 + number
        tags.append((at, player))
    return sorted(tags, key=lambda tag: tag[0])


def kind_of(frame: bytes) -> str:
    """What is in a frame, named by the event that matters most."""
    packet = unstuff(frame[:-1])
    assert packet is not None
    if packet[0] & 15 in (2, 3):
        return "dictionary" if packet[0] & 15 == 2 else "settings"
    kinds, body = [], packet[6 if packet[0] == 0x14 else 9 : -2]
    while body:
        kind = GAME.kinds[body[0] >> 2]
        kinds.append(kind.role)
        body = body[1 + (0, 1, 2, 4)[body[0] & 3] + kind.width :]
    order = (
        EventRole.RUN_START,
        EventRole.RUN_END,
        EventRole.DEATH,
        EventRole.STAGE_END,
        EventRole.SPAWN,
        EventRole.POSITION,
    )
    return str(next((role for role in order if role in kinds), "menu"))


def written(made: Console, path: Path, lost: int | None, bent: int | None = None) -> None:
    """Log and sidecar as the PC has them when a frame (its number) is lost, or one is bent in this byte."""
    out, arrivals = bytearray(b"\0"), [(0, 1)]
    for number, (at, frame) in enumerate(made.frames):
        if number == lost and bent is None:
            continue
        out += frame if number != lost else _bent(frame, bent or 0)
        arrivals.append((at, len(out)))
    path.write_bytes(out)
    lines: list[dict[str, object]] = [{"capture": 1, "started": "2026-03-01T09:30:00+00:00", "source": "COM3"}]
    told: list[tuple[int, dict[str, object]]] = [(at, {"byte": byte}) for at, byte in arrivals]
    for at, tag in made.tags:
        told.append((at, {"byte": max(byte for then, byte in arrivals if then <= at), "player": tag}))
    told.sort(key=lambda one: one[0])
    lines += [{"at": at / 1000} | what for at, what in told]
    sidecar_path(path).write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")


def _bent(frame: bytes, at: int) -> bytes:
    """The frame with one bit changed; in its last byte that joins it to the next one."""
    out = bytearray(frame)
    out[at] ^= 0x04
    return bytes(out)


def outcomes(study: Study, made: Console, path: Path) -> Counter[str]:
    """What became of the runs: right, open, lost (nothing of it is there), wrong; untagged ones count as lost."""
    result = import_log(study, path, in_place_of=1 if study.connection.execute("FROM captures").fetchall() else None)
    asked = "SELECT start_us // 1000, end_us // 1000, player, tagged, open FROM runs WHERE capture_id = ?"
    found = study.connection.execute(asked, [result.capture_id]).fetchall()
    seen: Counter[str] = Counter()
    for start, end, player in made.runs:
        own = [run for run in found if run[0] <= end and run[1] >= start]
        if not own:
            seen["lost"] += 1
        elif any(not run[4] and run[3] and run[2] != player for run in own):
            seen["wrong"] += 1
        elif any(run[4] for run in own):
            seen["open"] += 1
        else:
            seen["right" if own[0][3] else "lost"] += 1
    return seen


def each_lost(
    seed: int, habit: str, every: int = 1, bend: bool = False, runs: tuple[int, ...] = RUNS
) -> dict[str, Counter[str]]:
    """By what was in the packet: how many were lost in turn, and what became of the runs of all consoles, summed."""
    table: dict[str, Counter[str]] = {}
    with tempfile.TemporaryDirectory() as folder:
        made = [console(random.Random(seed + i), count, 1 + 20 * i, habit) for i, count in enumerate(runs)]
        whole = []
        for i, one in enumerate(made):
            with open_study(":memory:") as study:
                path = Path(folder) / f"{i}.playlog"
                written(one, path, None)
                whole.append(outcomes(study, one, path))
                for number in range(i, len(one.frames), every):
                    frame = one.frames[number][1]
                    for at in [len(frame) // 2, len(frame) - 1] if bend else [None]:
                        written(one, path, number, at)
                        row = table.setdefault(kind_of(frame), Counter())
                        row["packets"] += 1
                        row += outcomes(study, one, path)
                        table[kind_of(frame)] = row
    none = Counter(packets=1)
    for one_whole in whole:
        none += one_whole
    return {"nothing": none} | table


def main() -> None:
    every = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    for bend in (False, True):
        for habit in HABITS:
            print(f"\n{'Bent' if bend else 'Lost'}, tags typed {habit}:\n")
            print("| what was in it | packets | " + " | ".join(OUTCOMES) + " |\n" + "|---" * 6 + "|")
            for kind, row in sorted(each_lost(3, habit, every, bend).items()):
                print(f"| {kind} | " + " | ".join(str(row[one]) for one in ("packets", *OUTCOMES)) + " |", flush=True)


if __name__ == "__main__":
    main()
