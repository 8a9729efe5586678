"""Predicted minus true, outcome by outcome, where play is uneven (`course_worlds.py`): no proposal, only predictions.

    python -m tests.closed_loop.tuning.bias --worlds 60 --players 30 --out FILE     (--family regular: regular deaths)
    python -m tests.closed_loop.tuning.bias --table FILE

A playtest of one or two runs each (by turns; `--runs` asks for as many of all) is written as a log, ingested and
fitted; every outcome is predicted as things are and with two lives more, and held against other people.
"""

import argparse
import json
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis.models.staged_games.staged import fit_staged
from analysis.models.targets import Target
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.tuning.target_file import read_targets
from analysis.tuning_answers.staged_data import load_staged
from ingest.study.store import import_log, open_study
from tests.closed_loop.tuning.course_worlds import draw_course, draw_regular, play_course
from tests.closed_loop.tuning.logs import write_log
from tests.closed_loop.tuning.worlds import Outcome, World

MANY = 3000
ATTEMPTS = 3
FAMILIES = {"course": draw_course, "regular": draw_regular}


def wishes(world: World) -> dict[str, Target]:
    """Every outcome of a staged game; what is wanted does not matter here."""
    half = round(sum(world.truth["clear_s"]) / 2)
    words = {
        "reach_stage": f'outcome = "reach_stage"\nstage = {world.stages}',
        "finish": 'outcome = "finish"',
        "finish_within": f'outcome = "finish_within"\nattempts = {ATTEMPTS}',
        "finish on attempt 3": 'outcome = "finish"\npopulation = "attempt"\nattempt = 3',
        "survive": f'outcome = "survive"\nseconds = {half}',
    }
    text = "".join(f'[[target]]\nname = "{name}"\n{said}\nwanted = 0.5\n' for name, said in words.items())
    return {target.name: target for target in read_targets(text).targets}


def truths(world: World, out: Outcome, unstopped: Outcome) -> dict[str, float]:
    """The same figures, counted. unstopped: nobody gives up after a run."""
    assert out.alive_s is not None
    won = out.finished
    half = round(sum(world.truth["clear_s"]) / 2)
    return {
        "reach_stage": float((out.furthest[0] >= 2 * (world.stages - 1)).mean()),
        "finish": float(won[0].mean()),
        "finish_within": float(won.any(axis=0).mean()),
        "finish on attempt 3": float(unstopped.finished[2].mean()),
        "survive": float(((out.alive_s[0] >= half) | won[0]).mean()),
    }


def one_world(seed: int, players: int, runs: int, family: str = "course") -> list[dict]:
    """Rows (case, outcome, said, truth, whether the intervals hold it) of one world."""
    world = FAMILIES[family](seed)
    rng = np.random.default_rng([seed, 77])
    out = play_course(world, players, runs, world.now, rng, record=True)
    with tempfile.TemporaryDirectory() as folder, open_study(Path(folder) / "s.duckdb") as study:
        log = Path(folder) / "0.playlog"
        write_log(log, world, world.now, out)
        import_log(study, log)
        model = fit_staged(load_staged(Reader(study.connection), Selection("Soot Drift"), None, runs))
    targets, rows = wishes(world), []
    patient = replace(world, truth={**world.truth, "stop": -50.0})
    for case, change in (("as is", {}), ("two lives more", {"start_lives": world.now["start_lives"] + 2})):
        setting = {**world.now, **change}
        true = truths(
            world, play_course(world, MANY, ATTEMPTS, setting, rng), play_course(patient, MANY, ATTEMPTS, setting, rng)
        )
        said = model.figures(change, list(targets.values()))
        for name, draws in zip(targets, said, strict=True):
            at = [float(q) for q in np.quantile(draws, [0.025, 0.1, 0.5, 0.9, 0.975])]
            rows.append(
                {"seed": seed, "runs": runs, "fixed": world.truth["fixed"], "case": case, "outcome": name,
                 "said": at, "mean": float(draws.mean()), "true": true[name]}
            )  # fmt: skip
    return rows


def table(rows: list[dict]) -> str:
    """Mean error in points with its standard error over worlds, mean size of the error, cover of the intervals."""
    lines = ["case, outcome, part | rows | bias of the median (se) | of the mean | absolute | 80 % | 95 %"]
    parts = {
        "all": lambda r: True,
        "one run each": lambda r: r["runs"] == 1,
        "two runs each": lambda r: r["runs"] == 2,
        "fixed places": lambda r: r["fixed"],
        "danger builds up": lambda r: not r["fixed"],
    }
    for case in dict.fromkeys(r["case"] for r in rows):
        for outcome in dict.fromkeys(r["outcome"] for r in rows):
            for part, holds in parts.items():
                own = [r for r in rows if r["case"] == case and r["outcome"] == outcome and holds(r)]
                if not own:
                    continue
                true = np.array([r["true"] for r in own])
                said = np.array([r["said"] for r in own])
                error = 100 * (said[:, 2] - true)
                mean = 100 * (np.array([r["mean"] for r in own]) - true).mean()
                inner, outer = (100 * np.mean((said[:, a] <= true) & (true <= said[:, b])) for a, b in ((1, 3), (0, 4)))
                se = error.std() / np.sqrt(len(own))
                lines.append(
                    f"{case:15} {outcome:20} {part:17} {len(own):4} {error.mean():6.1f} ({se:.1f}) {mean:6.1f} "
                    f"{abs(error).mean():6.1f} {inner:5.0f} {outer:5.0f}"
                )
    return "\n".join(lines)


def main() -> None:
    """Plays worlds, or prints the table of worlds that were played."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--worlds", type=int, default=60)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--players", type=int, default=30)
    parser.add_argument("--runs", type=int)
    parser.add_argument("--family", choices=FAMILIES, default="course")
    parser.add_argument("--out")
    parser.add_argument("--table", nargs="*")
    words = parser.parse_args()
    if words.table:
        rows = [
            json.loads(line) for path in words.table for line in Path(path).read_text(encoding="utf-8").splitlines()
        ]
    else:
        rows = []
        with Path(words.out).open("w", encoding="utf-8") as out:
            for seed in range(words.first, words.first + words.worlds):
                new = one_world(seed, words.players, words.runs or 1 + seed % 2, words.family)
                rows += new
                out.writelines(json.dumps(row) + "\n" for row in new)
                out.flush()
    print(table(rows))


if __name__ == "__main__":
    main()
