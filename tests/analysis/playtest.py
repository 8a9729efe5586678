"""Small playtests written event by event, through the JSON encoder and the importer, for tests of findings."""

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from analysis.reader import Reader
from ingest.encode import encode_lines
from ingest.study.store import Study, import_log, open_study

GAME = "Test Game"


# Kind, role, then its fields as name:type:role.
_KINDS = """
begin run_start who:u8:player team:u8:team new:u8:first_time left:u8:lives tier:u8:tier lv:u8:level
over run_end how:u8:ending points:u16:score
enter stage_start stage:u8:stage boss:u8:stage_kind left:u8:lives tier:u8:tier
leave stage_end done:u8:cleared
alive spawn left:u8:lives tier:u8:tier
died death x:u8:x y:u8:y why:u8:cause left:u8:lives tier:u8:tier age:u16:shot_ago
at position x:u8:x y:u8:y
fire enemy_shot x:u8:x y:u8:y aim:u8:aimed
shoot shot
due note lane:u8:lane
push press lane:u8:lane
knob input raw:u16:value lane:u8:lane
slow slow_frame ms:u16:duration
stars rating value:u8:value
puff trial ok:u8:success off:i16:error fast:u16:speed
piece piece shape:u8:piece lv:u8:level
rest landed x:u8:x y:u8:y shape:u8:piece
rows rows n:u8:rows
faster level lv:u8:level
"""


def _kind(line: str) -> dict:
    name, role, *fields = line.split()
    keys = ("name", "type", "role")
    return {"name": name, "role": role, "fields": [dict(zip(keys, f.split(":"), strict=True)) for f in fields]}


KINDS = [_kind(line) for line in _KINDS.strip().splitlines()]
KINDS[5]["fields"][2]["labels"] = {"1": "beam", "2": "spike"}


@dataclass
class Playtest:
    """Lines of a log at 1,000 ticks a second; `now` moves forward as things happen."""

    now: int = 1000
    lines: list[dict] = field(default_factory=list)

    def event(self, kind: str, after_ms: int = 0, **values: int) -> None:
        self.now += after_ms
        self.lines.append({"t": self.now, "kind": kind, **values})

    def run(
        self,
        player: int,
        lives_s: Sequence[float],
        ending: int | None = 1,
        *,
        last_died: bool | None = None,
        x: int = 80,
        y: int = 60,
        age: int = 500,
        sampled: bool = True,
        cause: int = 1,
        **begin: int,
    ) -> None:
        """One run of stage 1: each of `lives_s` ends in a death, the last only for game over or as `last_died` says.

        ending: 0 finished, 1 game over, 2 quit, None: the log goes on without a run_end (cut).
        """
        last_died = ending == 1 if last_died is None else last_died
        self.event("begin", 1000, who=player, left=len(lives_s), **begin)
        self.event("enter", stage=1, left=len(lives_s))
        for i, life_s in enumerate(lives_s):
            if i:
                self.event("alive", 500, left=len(lives_s) - i)
            for step in range(int(life_s * 5)) if sampled else ():
                self.event("at", 200, x=(x + 7 * step) % 150, y=y)
            self.now += round(life_s * 1000) - (200 * int(life_s * 5) if sampled else 0)
            if i + 1 < len(lives_s) or last_died:
                self.event("died", x=x, y=y, why=cause, left=len(lives_s) - i - 1, age=age)
        if ending is not None:
            if ending == 0:
                self.event("leave", done=1)
            self.event("over", how=ending)

    def study(self, folder: Path, kinds: Sequence[str] | None = None, tunables: Sequence[dict] = ()) -> Study:
        """Writes and imports the log; only the named kinds are declared."""
        declared = [k for k in KINDS if kinds is None or k["name"] in kinds]
        head = {
            "dictionary": {
                "game": GAME,
                "firmware": "1",
                "clock": 1000,
                "screen": [160, 128],
                "kinds": declared,
                "tunables": list(tunables),
            }
        }
        log = folder / "test.playlog"
        log.write_bytes(b"".join(encode_lines(json.dumps(line) for line in [head, *self.lines])))
        study = open_study(folder / "test.duckdb")
        import_log(study, log)
        return study


def reader_of(study: Study) -> Reader:
    return Reader(study.connection)
