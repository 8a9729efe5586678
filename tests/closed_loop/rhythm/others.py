"""The loop against the other worlds, by hand: `python -m tests.closed_loop.rhythm.others WORLDS FIRST_SEED FILE`.

Each world's playtest is logged twice, with all presses and with hits alone, and proposed from for two wishes: three
quarters of the players at least q; and that, with the median about m. Then 1,000 new people, and the same people once
more, play what was proposed. `--table FILE...` prints what came of it.
"""

import json
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from analysis.models.rhythm_games.rhythm import RhythmModel
from analysis.models.targets import Aim, Changeable, Outcome, Statistic, Target
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.stats.rhythm.timed_notes import TimedNotes
from analysis.stats.rhythm.window_settings import TimingTunable
from analysis.timing_data import read_timing, read_timing_tunables
from analysis.tuning.ranking import propose
from ingest.study.store import import_log, open_study
from ingest.vocabulary import Recruitment
from tests.closed_loop.rhythm import other_world
from tests.closed_loop.rhythm.other_world import World

NEW_PEOPLE = 1000
PLAYERS = (8, 12, 20, 30)


def wishes_of(world: World, seed: int) -> tuple[Target, Target]:
    """About m for the median: what a window of 40 to 100 ms about the presses would give; at least q for the lower
    quarter: up to ten points less than the same window would."""
    rng = np.random.default_rng([seed, 5])
    people = [other_world.draw_person(world, rng) for _ in range(NEW_PEOPLE)]
    half, centre = int(rng.integers(40, 101)), round(world.centre_ms)
    share = other_world.hit_shares(world, people, [1] * len(people), [(half, half, centre)], seed + 1)[0]
    median, quarter = np.quantile(share, [0.5, 0.25])
    return (
        Target("median", Outcome.HIT_SHARE, round(float(median), 2), 0.05, statistic=Statistic.MEDIAN, quantile=0.5),
        Target(
            "quarter",
            Outcome.HIT_SHARE,
            round(float(quarter) - rng.uniform(0, 0.1), 2),
            0.05,
            aim=Aim.AT_LEAST,
            statistic=Statistic.QUANTILE,
            quantile=0.25,
        ),
    )


def ingested(log: bytes) -> tuple[TimedNotes, list[TimingTunable]]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "console.playlog"
        path.write_bytes(log)
        with open_study(Path(folder) / "study.duckdb") as study:
            import_log(study, path)
            reader = Reader(study.connection)
            notes = read_timing(reader, Selection("Paper Drums"))
            assert notes is not None
            return notes, read_timing_tunables(reader, "Paper Drums")


def one_world(seed: int) -> list[dict]:
    """A record for each way of logging and each wish."""
    world, players = other_world.draw_world(seed), PLAYERS[seed % len(PLAYERS)]
    people, runs = other_world.playtest(world, players, seed)
    median, quarter = wishes_of(world, seed)
    rng = np.random.default_rng([seed, 6])
    fresh = [other_world.draw_person(world, rng) for _ in range(NEW_PEOPLE)]
    records = []
    for logged in ("all presses", "hits only"):
        log = other_world.write_log(world, people, runs, logged == "all presses", seed)
        notes, tunables = ingested(log)
        model = RhythmModel(notes, tunables, notes.builds[-1])
        for wishes in ((quarter,), (median, quarter)):
            best = propose(model, wishes, Changeable(), "Paper Drums", Recruitment.AUDIENCE)[0]
            now = {t.tunable: t.value for t in tunables}
            then = now | {change.tunable: change.proposed for change in best.changes}
            settings = [(values["early"], values["late"], values["offset"]) for values in (now, then)]
            new = other_world.hit_shares(world, fresh, [1] * NEW_PEOPLE, settings, seed)
            same = other_world.hit_shares(world, people, [count + 1 for count in runs], settings, seed)
            for target, said in zip(wishes, best.targets, strict=True):
                p = said.proposed
                records.append(
                    {
                        "seed": seed,
                        "players": players,
                        "law": world.law,
                        "logged": logged,
                        "wish": "+".join(t.name for t in wishes),
                        "target": target.name,
                        "wanted": target.wanted,
                        "advice": str(best.advice),
                        "setting": settings,
                        "said": [p.low95, p.low80, p.value, p.high80, p.high95],
                        "new": np.quantile(new, target.quantile or 0.5, axis=1).tolist(),
                        "same": np.quantile(same, target.quantile or 0.5, axis=1).tolist(),
                        "cut": model.cut,
                        "effective": model.sampling.effective,
                    }
                )
    return records


def table(files: Sequence[str]) -> str:
    """What came, a line for each way of logging, wish and target."""
    rows = [json.loads(line) for file in files for line in Path(file).read_text("utf-8").splitlines()]
    lines = []
    for key in sorted({(r["logged"], r["wish"], r["target"]) for r in rows}):
        own = [r for r in rows if (r["logged"], r["wish"], r["target"]) == key]
        said, new = np.array([r["said"] for r in own]), np.array([r["new"] for r in own])
        wanted, same = np.array([r["wanted"] for r in own]), np.array([r["same"] for r in own])[:, 1]
        truth = new[:, 1]
        covers = [np.mean((said[:, a] <= truth) & (truth <= said[:, b])) for a, b in ((1, 3), (0, 4))]
        says = said[:, 2] >= wanted
        met = np.mean(truth[says] >= wanted[says]) if says.any() else np.nan
        nearly = np.mean(truth[says] >= wanted[says] - 0.05) if says.any() else np.nan
        lines.append(
            f"{' | '.join(key)} | n {len(own)} | as is {100 * np.abs(new[:, 0] - wanted).mean():.1f}"
            f" | miss {100 * np.abs(truth - wanted).mean():.1f} same {100 * np.abs(same - wanted).mean():.1f}"
            f" | of what was said {100 * np.abs(truth - said[:, 2]).mean():.1f}"
            f" bias {100 * (said[:, 2] - truth).mean():+.1f}"
            f" | 80 % covers {100 * covers[0]:.0f} (width {100 * (said[:, 3] - said[:, 1]).mean():.1f})"
            f" | 95 % {100 * covers[1]:.0f}"
            f" | says {says.sum()}, met {100 * met:.0f}, within 5 points {100 * nearly:.0f}"
        )
    return "\n".join(lines)


def main(worlds: int, first: int, file: str) -> None:
    """Adds the records of the worlds to a file, and prints the table of it."""
    with Path(file).open("a", encoding="utf-8") as out:
        for seed in range(first, first + worlds):
            for record in one_world(seed):
                print(json.dumps(record), file=out, flush=True)
    print(table([file]))


if __name__ == "__main__":
    if sys.argv[1] == "--table":
        print(table(sys.argv[2:]))
    else:
        main(int(sys.argv[1]), int(sys.argv[2]), sys.argv[3])
