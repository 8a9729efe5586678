"""Writes all demo logs and their truth."""

import json
import tempfile
from collections.abc import Collection
from dataclasses import asdict
from pathlib import Path

from demo_logs.simulator.native import GAMES as GAME_FILES
from demo_logs.simulator.native import Firmware, build
from demo_logs.simulator.record import Memories, damaged, log_bytes, play
from demo_logs.simulator.sessions import SESSIONS, people
from demo_logs.simulator.sidecar import DAY, write_sidecar
from demo_logs.simulator.tin_drizzle import TUNES

TUNED = {"a": None, "b": GAME_FILES / "build_b"}


def write_logs(folder: Path, games: Collection[str] = ()) -> dict[str, object]:
    """Plays every session of `games` (none: of all) and writes NAME.playlog and its sidecar into `folder`.

    Returns the truth. A game's people bring nothing along from another game, so that the logs of one can be written
    alone.
    """
    everybody = people()
    memories: Memories = {}
    logs: dict[str, object] = {}
    written: dict[str, bytes] = {}
    recorded: dict[str, tuple[str, int, int]] = {}
    builds: dict[str, dict[str, dict[str, int]]] = {}
    with tempfile.TemporaryDirectory(prefix="lantern_") as scratch:
        made: dict[tuple[str, str], Firmware] = {}
        for session in SESSIONS:
            if games and session.game not in games:
                continue
            key = (session.game, session.build)
            if key not in made:
                made[key] = build(session.game, TUNED[session.build], Path(scratch))
                builds.setdefault(session.game, {})[session.build] = made[key].values
            played = play(session, made[key], everybody, memories)
            data = sent = log_bytes(session, made[key], played)
            done: list[dict[str, object]] = []
            if session.damage:
                data, done = damaged(sent, session.damage, session.name)
            written[session.name] = data
            recorded[session.name] = session.game, DAY[session.build], session.console.number
            logs[session.name] = {
                "game": session.game,
                "build": session.build,
                "console": session.console.number,
                "board": asdict(session.board),
                "bytes": len(data),
                "bytes_sent": len(sent),
                "events": played.events,
                "damage": done,
                "runs": played.runs,
            }
    # Only now: a session that fails leaves no folder of logs that do not belong together.
    for name, data in written.items():
        (folder / f"{name}.playlog").write_bytes(data)
        write_sidecar(folder / f"{name}.playlog", *recorded[name])
    return {
        "people": {person.tag: _plain(asdict(person)) for person in everybody.values()},
        "consoles": {str(s.console.number): asdict(s.console) for s in SESSIONS},
        "tunes": {
            str(n): {
                "title": t.title,
                "notes": len(t.notes()),
                "drift_ppm": t.drift_ppm,
                "late_bars": ", ".join(map(str, range(*t.late_bars))),
                "late_ms": t.late_ms,
            }
            for n, t in enumerate(TUNES, 1)
        },
        "builds": builds,
        "logs": logs,
    }


def _plain(values: dict[str, object]) -> dict[str, object]:
    return {name: value for name, value in values.items() if name != "player"}


def write_truth(folder: Path, truth: dict[str, object]) -> None:
    """Writes truth.json, one line for each run or person, so that a change shows in a diff."""
    (folder / "truth.json").write_text(_laid_out(truth) + "\n", encoding="utf-8", newline="\n")


def _laid_out(value: object, indent: str = "") -> str:
    """`value` as JSON; what holds nothing nested stays on one line."""
    parts = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    if not any(isinstance(part, (dict, list)) for part in parts):
        return json.dumps(value, ensure_ascii=False)
    deeper = indent + " "
    if isinstance(value, dict):
        lines = [f"{deeper}{json.dumps(key)}: {_laid_out(part, deeper)}" for key, part in value.items()]
        return "{\n" + ",\n".join(lines) + f"\n{indent}}}"
    return "[\n" + ",\n".join(deeper + _laid_out(part, deeper) for part in parts) + f"\n{indent}]"
