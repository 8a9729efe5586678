"""`python -m tests.demo_logs.closed_loop GAME`: do proposals hold in the demo worlds, which know nothing of the model?

Each round plays one playtest of twelve newcomers with a start that was drawn at random, writes its log through the C
recorder, imports it, takes the first proposal, and lets hundreds of others play before and after. CLOSED_LOOP.md has
the figures that were measured.
"""

import argparse
import json
import tempfile
from dataclasses import dataclass
from pathlib import Path

from analysis.models.targets import TargetSet
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.tuning.proposal import Advice
from analysis.tuning.target_file import read_targets
from analysis.tuning_answers.tuning_answer import propose_game
from demo_logs.simulator.dice import Dice
from demo_logs.simulator.lantern import GAMES
from demo_logs.simulator.native import build
from demo_logs.simulator.next_playtest import next_log
from demo_logs.simulator.outcomes import figures, new_players
from ingest.study.store import import_log, open_study

PLAYERS, RUNS = 12, 3
FOLDER = Path(__file__).parent


@dataclass(frozen=True)
class Trial:
    """A target for one game, the figure of `outcomes` that it is about, and how many people tell the truth."""

    target: str
    figure: str
    people: int
    attempts: int


TRIALS = {
    "one_puff": Trial('outcome = "streak"\nlength = 8\nwanted = 0.6', "streak 8", 400, 1),
    "crate_loft": Trial('outcome = "level_reached"\nlevel = 6\nwanted = 0.6', "level_reached 6", 400, 1),
    "soot_wardens": Trial('outcome = "reach_stage"\nstage = 2\nwanted = 0.6', "reach_stage 2", 200, 1),
    "tin_drizzle": Trial(
        'outcome = "hit_share"\npopulation = "new_players"\nwanted = 0.85', "hit_share median", 400, 1
    ),
}


def start(game: str, now: dict[str, int], dice: Dice) -> dict[str, int]:
    """A start that might come out of a workshop: some values better, some worse than the demo's first build."""
    if game == "one_puff":
        return {"candle_speed": 5 * round(dice.uniform(60, 125) / 5)}
    if game == "tin_drizzle":
        window = round(dice.uniform(30, 85))
        return {"window_early_loose": window, "window_late_loose": window, "input_offset": round(dice.uniform(-25, 15))}
    pace = dice.uniform(0.65, 1.9)
    step = 10 if game == "crate_loft" else 20
    drawn = {
        name: max(100, step * round(value * pace / step))
        for name, value in now.items()
        if name.startswith(("drop", "fire"))
    }
    if game == "soot_wardens":
        drawn |= {"start_lives": 2 + dice.below(3), "lives_refill": dice.below(3)}
    return drawn


def truth(game: str, values: dict[str, int], trial: Trial) -> float:
    """The population's own figure."""
    return figures(game, new_players(game, values, trial.people, trial.attempts))[trial.figure]


@dataclass(frozen=True)
class Round:
    """A playtest of newcomers that was played: the start that was drawn, all tunables' values, the log."""

    drawn: dict[str, int]
    values: dict[str, int]
    log: Path


def play_round(game: str, number: int, folder: Path, players: int = PLAYERS) -> Round:
    """Draws the start of a round, and lets newcomers play it; their log is written into `folder`."""
    tuned = folder / "tuned"
    tuned.mkdir()
    drawn = start(game, build(game, None, folder).values, Dice("closed loop", game, number))
    header = "".join(f"#define TUNED_{name.upper()} {value}\n" for name, value in drawn.items())
    (tuned / f"{game}_tuned.h").write_text(header, encoding="utf-8")
    values = build(game, tuned, folder).values
    log = folder / "round.playlog"
    log.write_bytes(next_log(game, tuned, players, RUNS, number, folder))
    return Round(drawn, values, log)


def targets_of(game: str) -> TargetSet:
    """What is wanted of a game here."""
    return read_targets(f'[[target]]\n{TRIALS[game].target}\n[playtest]\nruns_each = {RUNS}\ntesters = "audience"\n')


def one_round(game: str, number: int) -> dict[str, object]:
    """One playtest, its first proposal, and what came of it."""
    trial, targets = TRIALS[game], targets_of(game)
    with tempfile.TemporaryDirectory(prefix="lantern_") as scratch:
        folder = Path(scratch)
        played = play_round(game, number, folder)
        with open_study(folder / "study.duckdb") as study:
            import_log(study, played.log)
            answer = propose_game(Reader(study.connection), Selection(GAMES[game].title), targets)
    values = played.values
    wanted = targets.targets[0].wanted
    found: dict[str, object] = {
        "round": number,
        "start": played.drawn,
        "wanted": wanted,
        "now": truth(game, values, trial),
    }
    if answer.proposals:
        best = answer.proposals[0]
        [predicted] = best.targets
        changed = {change.tunable: change.proposed for change in best.changes}
        found |= {
            "advice": str(best.advice),
            "chance_better": best.chance_better,
            "change": changed,
            "observed": predicted.observed,
            "predicted_now": [predicted.now.value, predicted.now.low80, predicted.now.high80],
            "predicted": [predicted.proposed.value, predicted.proposed.low80, predicted.proposed.high80],
            "then": truth(game, values | changed, trial) if best.advice == Advice.CHANGE else found["now"],
        }
    return found


def summary(rounds: list[dict[str, object]]) -> dict[str, object]:
    """Mean miss before and after in points, coverage of the 80 % intervals, and harm done."""
    told = [r for r in rounds if "then" in r]
    miss = [(abs(r["now"] - r["wanted"]), abs(r["then"] - r["wanted"])) for r in told]  # type: ignore[operator]
    changed = [(m, r) for m, r in zip(miss, told, strict=True) if r["advice"] == str(Advice.CHANGE)]
    inside = [r["predicted"][1] <= r["then"] <= r["predicted"][2] for _, r in changed]  # type: ignore[index]
    inside_now = [r["predicted_now"][1] <= r["now"] <= r["predicted_now"][2] for r in told]  # type: ignore[index]
    return {
        "rounds": len(rounds),
        "with_proposal": len(told),
        "changed": len(changed),
        "miss_before": round(100 * sum(b for b, _ in miss) / len(miss), 1),
        "miss_after": round(100 * sum(a for _, a in miss) / len(miss), 1),
        "worse_by_over_2": sum(a > b + 0.02 for (b, a), _ in changed),
        "inside_80_proposed": f"{sum(inside)}/{len(inside)}",
        "inside_80_now": f"{sum(inside_now)}/{len(inside_now)}",
    }


def main() -> None:
    """Prints one JSON line a round, and the summary."""
    parser = argparse.ArgumentParser(prog="python -m tests.demo_logs.closed_loop", description=__doc__)
    parser.add_argument("game", choices=sorted(TRIALS))
    parser.add_argument("--rounds", type=int, default=20)
    chosen = parser.parse_args()
    rounds = []
    for number in range(chosen.rounds):
        rounds.append(one_round(chosen.game, number))
        print(json.dumps(rounds[-1]), flush=True)
    print(json.dumps(summary(rounds)), flush=True)


if __name__ == "__main__":
    main()
