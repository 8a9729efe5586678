"""The closed loop: play a world, write its log, ingest it, propose, and play the world again as proposed.

Run by hand for the tables of MEASURED.md:

    python -m tests.closed_loop.tuning.loop --family hazard --worlds 100 --out hazard.jsonl
    python -m tests.closed_loop.tuning.loop --table hazard.jsonl
"""

import argparse
import json
import sys
import tempfile
import time
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from analysis.reader import Reader
from analysis.selection import Selection
from analysis.tuning.target_file import read_targets
from analysis.tuning_answers.staged_data import load_staged
from analysis.tuning_answers.tuning_answer import propose_game
from analysis.tuning_answers.tuning_data import load_builds
from ingest.study.store import import_log, open_study
from tests.closed_loop.tuning.course_worlds import draw_course
from tests.closed_loop.tuning.logs import write_log
from tests.closed_loop.tuning.plain_rules import observed_ratio, pooled_hazards
from tests.closed_loop.tuning.table import table
from tests.closed_loop.tuning.worlds import World, draw_world, figure

# How many people tell a figure: enough to find a fair wish, and for the truth a standard error of 0.7 points at most.
SOME, MANY = 1500, 5000
# What the model is held against: rules that anybody could follow.
PLAIN_RULES = {"observed_ratio": observed_ratio, "pooled_hazards": pooled_hazards}


def draw_target(world: World, rng: np.random.Generator) -> tuple[dict, float, float] | None:
    """A wish that some setting of the game can meet; the present figure and the wanted one. None: try another."""
    kind = rng.choice(["reach_stage", "finish", "finish_within"])
    target: dict = {"outcome": str(kind)}
    if kind == "reach_stage":
        target["stage"] = int(rng.integers(2, world.stages + 1))
    if kind == "finish_within":
        target["attempts"] = 3
    hidden = dict(world.now)
    factor = float(np.exp(rng.normal(0, 0.6)))
    for tunable in world.tunables[2:]:
        hidden[tunable["name"]] = int(np.clip(round(hidden[tunable["name"]] * factor / 10) * 10, 100, 4000))
    hidden["start_lives"] = int(np.clip(hidden["start_lives"] + rng.integers(-2, 3), 1, 9))
    if rng.random() < 0.5:
        hidden["refill"] = int(rng.integers(0, 3))
    now = figure(world, target, world.now, rng, SOME)
    wanted = round(figure(world, target, hidden, rng, SOME), 2)
    if not (0.08 <= wanted <= 0.92 and 0.03 <= now <= 0.97):
        return None
    return target, now, wanted


def toml_of(target: dict, wanted: float) -> str:
    """The targets file for one wish; the testers of these worlds are drawn from the audience, and it says so."""
    words = [f'outcome = "{target["outcome"]}"', f"wanted = {wanted}"]
    words += [f"{name} = {target[name]}" for name in ("stage", "attempts") if name in target]
    return "[[target]]\n" + "\n".join(words) + '\n[playtest]\ntesters = "audience"\n'


def build_of(reader: Reader, setting: Mapping[str, int]) -> str:
    """The label of the build with this setting: the logs bear no times, so which was played last has to be said."""
    builds = load_builds(reader, "Soot Drift").values()
    [label] = {b.label for b in builds if {t.name: t.value for t in b.tunables} == dict(setting)}
    return label


def one_world(
    family: str,
    seed: int,
    players: int = 12,
    runs: int = 3,
    rounds: int = 2,
    least_start: float = 0.0,
    more_skilled: float = 0.0,
) -> dict | None:
    """The record of one world, or None where it has no fair target, or one nearer than `least_start`.

    more_skilled: how much better (in ln hazard) the testers are than the audience.
    """
    world = draw_course(seed) if family == "course" else draw_world(family, seed)
    rng = np.random.default_rng([seed, 77])
    drawn = draw_target(world, rng)
    if drawn is None:
        return None
    target, now, wanted = drawn
    if abs(now - wanted) < least_start:
        return None
    targets = read_targets(toml_of(target, wanted))
    wish = targets.targets[0]
    now = figure(world, target, world.now, rng, MANY)
    record: dict = {
        "family": family,
        "seed": seed,
        "target": target,
        "wanted": wanted,
        "now": now,
        "start_miss": abs(now - wanted),
        "rounds": [],
    }
    setting = dict(world.now)
    with tempfile.TemporaryDirectory() as folder, open_study(Path(folder) / "s.duckdb") as study:
        for number in range(rounds):
            log = Path(folder) / f"{number}.playlog"
            out = world.plays(world, players, runs, setting, rng, record=True, more_skilled=more_skilled)
            write_log(log, world, setting, out, first_player=1 + number * players)
            import_log(study, log)
            start = time.process_time()
            reader, selection = Reader(study.connection), Selection("Soot Drift")
            answer = propose_game(reader, selection, targets, build_of(reader, setting))
            seconds = time.process_time() - start
            best = answer.proposals[0]
            before = now if number == 0 else record["rounds"][-1]["reached"]
            proposed = {**setting, **{c.tunable: c.proposed for c in best.changes}}
            reached = figure(world, target, proposed, rng, MANY) if best.changes else before
            part = {
                "before": before,
                "reached": reached,
                "miss": abs(reached - wanted),
                "advice": str(best.advice),
                "chance_better": best.chance_better,
                "chance_worse": best.chance_worse,
                "changes": [(c.tunable, c.now, c.proposed) for c in best.changes],
                "now_said": vars(best.targets[0].now),
                "said": vars(best.targets[0].proposed),
                "observed": best.targets[0].observed,
                "seconds": seconds,
                "policies": [],
            }
            for other in answer.proposals[1:] if number == 0 else ():
                if [c.role for c in other.changes] in (["lives_refill"], ["start_lives"]):
                    changed = {**setting, **{c.tunable: c.proposed for c in other.changes}}
                    true = figure(world, target, changed, rng, MANY) - before
                    said = other.targets[0].proposed.value - other.targets[0].now.value
                    part["policies"].append([other.changes[0].role, said, true, other.chance_better])
            record["rounds"].append(part)
            if number == 0:
                # Chances of their own, so that the rest of the loop is the same with and without the plain rules.
                luck = np.random.default_rng([seed, 78])
                data = load_staged(reader, selection, build_of(reader, setting))
                part["plain"] = {
                    name: abs(figure(world, target, {**setting, **rule(data, wish)}, luck, MANY) - wanted)
                    for name, rule in PLAIN_RULES.items()
                }
            setting = proposed
    return record


def main() -> int:
    """Runs worlds, or prints the table of worlds that were run."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--family", default="hazard")
    parser.add_argument("--worlds", type=int, default=100)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--players", type=int, default=12)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--skilled", type=float, default=0.0, help="testers better than the audience, in ln hazard")
    parser.add_argument("--out")
    parser.add_argument("--table", nargs="*")
    words = parser.parse_args()
    if words.table:
        records = [
            json.loads(line) for path in words.table for line in Path(path).read_text(encoding="utf-8").splitlines()
        ]
        print(table(records))
        return 0
    records = []
    seed = words.first
    with Path(words.out).open("w", encoding="utf-8") as out:
        while len(records) < words.worlds:
            record = one_world(words.family, seed, words.players, words.runs, words.rounds, more_skilled=words.skilled)
            seed += 1
            if record is not None:
                records.append(record)
                out.write(json.dumps(record) + "\n")
                out.flush()
    print(table(records))
    return 0


if __name__ == "__main__":
    sys.exit(main())
