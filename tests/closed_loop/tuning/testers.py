"""Who tests: worlds whose testers are better than the audience, or not, told in each of the ways they can be found.

    python -m tests.closed_loop.tuning.testers --skilled 0.5 --worlds 20 --out FILE     (both families, half each)
    python -m tests.closed_loop.tuning.testers --table FILE...

`--told unknown:0.15,0.25` takes another mean and spread than the product's for that way, to hold them side by side.
Each playtest is proposed from once a way of finding; the truth is told by other people of the audience.
"""

import argparse
import json
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from analysis.models import audience
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.tuning.ranking import propose
from analysis.tuning.target_file import read_targets
from analysis.tuning_answers.tuning_answer import fit_game
from ingest.study.store import import_log, open_study
from ingest.vocabulary import Recruitment
from tests.closed_loop.tuning.logs import write_log
from tests.closed_loop.tuning.loop import draw_target, toml_of
from tests.closed_loop.tuning.table import HARM, _mean, _share
from tests.closed_loop.tuning.worlds import draw_world, figure, play

# How many people tell the truth: a standard error of a point at most.
MANY = 2500
WARNING = "How they were found is not known"


@contextmanager
def told_as(words: str) -> Iterator[Recruitment]:
    """A way of finding testers; behind a colon the mean and spread that are taken of it meanwhile."""
    way, _, figures = words.partition(":")
    testers = Recruitment(way)
    own = audience._SHIFTS[testers]
    if figures:
        audience._SHIFTS[testers] = audience.Shift(*map(float, figures.split(",")))
    try:
        yield testers
    finally:
        audience._SHIFTS[testers] = own


def one_world(family: str, seed: int, skilled: float, told: Sequence[str], players: int = 12) -> dict | None:
    """The record of one world; None where it has no fair target. told: the ways, as in `told_as`."""
    world, rng = draw_world(family, seed), np.random.default_rng([seed, 77])
    drawn = draw_target(world, rng)
    if drawn is None:
        return None
    target, _, wanted = drawn
    targets = read_targets(toml_of(target, wanted))
    now = figure(world, target, world.now, rng, MANY)
    record: dict = {"family": family, "seed": seed, "skilled": skilled, "wanted": wanted, "now": now, "told": {}}
    with tempfile.TemporaryDirectory() as folder, open_study(Path(folder) / "s.duckdb") as study:
        log = Path(folder) / "a.playlog"
        out = play(world, players, 3, world.now, rng, record=True, more_skilled=skilled)
        write_log(log, world, world.now, out, first_player=1)
        import_log(study, log)
        model = fit_game(Reader(study.connection), Selection("Soot Drift"), targets)[0][0]
        truths: dict[str, float] = {}
        for words in told:
            with told_as(words) as testers:
                (best,) = propose(model, targets.targets, targets.changeable, "Soot Drift", testers, most=1)
            setting = {**world.now, **{c.tunable: c.proposed for c in best.changes}}
            if best.id not in truths:
                luck = np.random.default_rng([seed, 79])
                truths[best.id] = figure(world, target, setting, luck, MANY) if best.changes else now
            reached = truths[best.id]
            record["told"][words] = {
                "advice": str(best.advice),
                "changes": [(c.tunable, c.now, c.proposed) for c in best.changes],
                "reached": reached,
                "miss": abs(reached - wanted),
                "chance_better": best.chance_better,
                "said": [best.targets[0].proposed.low80, best.targets[0].proposed.high80],
                "now_said": [best.targets[0].now.low80, best.targets[0].now.high80],
                "turns": any(one.turns for one in best.audiences),
                "warned": WARNING in best.sentence,
            }
    return record


def table(records: Sequence[dict]) -> str:
    """What came of each way of telling who tested."""
    before = np.array([abs(r["now"] - r["wanted"]) for r in records])
    lines = [f"worlds: {len(records)}; as is: mean miss {_mean(100 * before)}"]
    for testers in records[0]["told"]:
        parts = [r["told"][testers] for r in records]
        miss = np.array([p["miss"] for p in parts])
        change = np.array([p["advice"] == "change" for p in parts])
        truth = {"said": [p["reached"] for p in parts], "now_said": [r["now"] for r in records]}
        inside = {
            which: np.array([p[which][0] <= true <= p[which][1] for p, true in zip(parts, values, strict=True)])
            for which, values in truth.items()
        }
        lines += [
            f"told {testers}:",
            f"   recommended {_share(change)}; of these worse by over 2 points "
            f"{_share((miss - before > HARM)[change])}; going the wrong way with a third more or less "
            f"{_share(np.array([p['turns'] for p in parts])[change])}",
            f"   mean miss of the first proposal {_mean(100 * miss)}; when acting on advice only "
            f"{_mean(100 * np.where(change, miss, before))}",
            f"   80 % covers {_share(inside['said'])}; of the present {_share(inside['now_said'])}",
            f"   says that it is not known how they were found {_share(np.array([p['warned'] for p in parts]))}",
        ]
    return "\n".join(lines)


def main() -> int:
    """Runs worlds, or prints the table of worlds that were run."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--worlds", type=int, default=20)
    parser.add_argument("--first", type=int, default=95000)
    parser.add_argument("--families", nargs="+", choices=("hazard", "volley"), default=["hazard", "volley"])
    parser.add_argument("--skilled", type=float, default=0.5, help="testers better than the audience, in ln hazard")
    parser.add_argument(
        "--told", nargs="*", default=["friends", "unknown"], help="how the testers are said to be found"
    )
    parser.add_argument("--out")
    parser.add_argument("--table", nargs="*")
    words = parser.parse_args()
    if words.table:
        print(
            table(
                [
                    json.loads(line)
                    for path in words.table
                    for line in Path(path).read_text(encoding="utf-8").splitlines()
                ]
            )
        )
        return 0
    records: list[dict] = []
    with Path(words.out).open("w", encoding="utf-8") as out:
        for family in words.families:
            seed, wanted = words.first, len(records) + words.worlds // len(words.families)
            while len(records) < wanted:
                record = one_world(family, seed, words.skilled, words.told)
                seed += 1
                if record is not None:
                    records.append(record)
                    out.write(json.dumps(record) + "\n")
                    out.flush()
    print(table(records))
    return 0


if __name__ == "__main__":
    sys.exit(main())
