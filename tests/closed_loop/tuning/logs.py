"""Writes a world's playtest as a play log, through the product's own encoder."""

from collections.abc import Mapping
from pathlib import Path

from ingest.wire.dictionary_json import from_json
from ingest.wire.encoder import Encoder
from tests.closed_loop.tuning.worlds import Outcome, World

CLOCK = 1000


def _dictionary(world: World, setting: Mapping[str, int], firmware: str) -> dict:
    def f(name: str, role: str, type_: str = "u8") -> dict:
        return {"name": name, "type": type_, "role": role}

    return {
        "game": "Soot Drift",
        "firmware": firmware,
        "clock": CLOCK,
        "screen": [160, 128],
        "kinds": [
            {"name": "begin", "role": "run_start", "fields": [f("who", "player"), f("first", "first_time")]},
            {
                "name": "stage",
                "role": "stage_start",
                "fields": [f("number", "stage"), f("kind_", "stage_kind"), f("lives", "lives"), f("tier", "tier")],
            },
            {"name": "stage_over", "role": "stage_end", "fields": [f("cleared", "cleared")]},
            {"name": "died", "role": "death", "fields": [f("lives", "lives"), f("tier", "tier")]},
            {"name": "upgrade", "role": "pickup", "fields": [f("tier", "tier"), f("lives", "lives")]},
            {"name": "end", "role": "run_end", "fields": [f("how", "ending")]},
        ],
        "tunables": [{**t, "value": setting[t["name"]]} for t in world.tunables],
    }


def write_log(
    path: Path, world: World, setting: Mapping[str, int], outcome: Outcome, first_player: int = 1, firmware: str = "1.0"
) -> None:
    """One capture: the people play in turn, each attempt after the other's."""
    encoder = Encoder(*from_json(_dictionary(world, setting, firmware)))
    out = [encoder.power_up()]
    runs: dict = {}
    for person, attempt, time_s, kind, fields in outcome.events:
        runs.setdefault((attempt, person), []).append((time_s, kind, fields))
    start = 1.0
    for (_, person), events in sorted(runs.items()):
        for time_s, kind, fields in events:
            if kind == "begin":
                fields = {"who": first_player + person, "first": 1}
            out.append(encoder.event(round((start + time_s) * CLOCK), kind, fields))
        start += events[-1][0] + 5
    path.write_bytes(b"".join(out) + encoder.flush())
