"""`python -m tests.demo_logs.closed_loop_parts GAME`: what "predicted minus true" is made of, for games in segments.

The same rounds as `closed_loop` plays. What is said of the build as it is stands beside what the round's own people
showed, what the same people do when they play their first run again as strangers, and what others do. Also: how the
danger changes within a visit, how fast people learn, and how many runs were cut.
"""

import argparse
import json
import tempfile
from pathlib import Path

import numpy as np

from analysis.models.data import ENDINGS
from analysis.models.observed import observed_staged
from analysis.models.staged_games.staged import fit_staged
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.tuning_answers.staged_data import load_staged
from demo_logs.simulator.dice import Dice
from demo_logs.simulator.lantern import GAMES
from demo_logs.simulator.next_playtest import FIRST_PLAYER, MOST_ROUNDS
from demo_logs.simulator.outcomes import figures, new_players
from demo_logs.simulator.people import Memory, person
from demo_logs.simulator.play import Console
from ingest.study.store import import_log, open_study
from tests.demo_logs.closed_loop import PLAYERS, TRIALS, play_round, targets_of

OTHERS, AGAIN, BEGINNING_S = 400, 6, 5.0
MOST_PLAYERS = 40  # five rounds of them have player numbers below 256
STAGED = ("crate_loft", "soot_wardens")


def same_people(game: str, values: dict[str, int], number: int, players: int) -> float:
    """The figure of the round's own people, each playing AGAIN first runs that they do not remember."""
    first = FIRST_PLAYER + players * (number % MOST_ROUNDS)
    runs = [
        [
            GAMES[game]
            .run(
                values,
                person(tag, stream=f"next {number}"),
                Memory(),
                Console(0),
                Dice("again", game, number, tag, k),
                0,
            )
            .go(True, 0)
            .summary
        ]
        for tag in range(first, first + players)
        for k in range(AGAIN)
    ]
    return figures(game, runs)[TRIALS[game].figure]


def one_round(game: str, number: int, players: int = PLAYERS) -> dict[str, object]:
    """The parts of one round, in shares."""
    [target] = targets_of(game).targets
    with tempfile.TemporaryDirectory(prefix="lantern_") as scratch:
        folder = Path(scratch)
        played = play_round(game, number, folder, players)
        with open_study(folder / "study.duckdb") as study:
            import_log(study, played.log)
            reader, selection = Reader(study.connection), Selection(GAMES[game].title)
            data = load_staged(reader, selection, None, targets_of(game).runs_each)
            danger = danger_within(reader.ask_chosen("tuning_spells", selection))
    model = fit_staged(data)
    low, said, high = np.quantile(model.figures({}, [target])[0], [0.1, 0.5, 0.9])
    return {
        "round": number,
        "said": float(said),
        "low80": float(low),
        "high80": float(high),
        "seen": observed_staged(data, target).figure,
        "same": same_people(game, played.values, number, players),
        "others": figures(game, new_players(game, played.values, OTHERS, 1))[TRIALS[game].figure],
        "learning": float(model.hazard.effect("learning").mean()),
        "cut": int((data.runs.ending == ENDINGS.index("cut")).sum()),
        "runs": data.runs.count,
        "danger": danger,
    }


def danger_within(spells: dict[str, np.ndarray]) -> dict[str, list[float]]:
    """By place: deaths and seconds alive in the first BEGINNING_S of each visit, deaths and seconds after."""
    found: dict[str, list[float]] = {}
    visit, into_s = None, 0.0
    for n, run in enumerate(spells["run_id"]):
        told = {name: spells[name][n] for name in ("stage", "stage_kind", "level")}
        place = ", ".join(f"{name} {value:g}" for name, value in told.items() if value == value)
        if not place:
            continue
        if (run, place) != visit:
            visit, into_s = (run, place), 0.0
        alive_s = max(0.0, float(spells["alive_us"][n]) / 1e6)
        early_s = min(alive_s, max(0.0, BEGINNING_S - into_s))
        into_s += alive_s
        row = found.setdefault(place, [0.0, 0.0, 0.0, 0.0])
        row[1] += early_s
        row[3] += alive_s - early_s
        if spells["ended_by"][n] == "death":
            row[0 if into_s <= BEGINNING_S else 2] += 1
    return found


def summary(rounds: list[dict]) -> dict[str, object]:
    """Means over the rounds in points with their standard errors; how often the 80 % interval holds each truth."""

    def points(one: str, other: str) -> list[float]:
        gap = 100 * np.array([r[one] - r[other] for r in rounds])
        return [round(float(gap.mean()), 1), round(float(gap.std(ddof=1) / np.sqrt(len(gap))), 1)]

    def inside(which: str) -> int:
        return sum(r["low80"] <= r[which] <= r["high80"] for r in rounds)

    danger = {}
    for place in dict.fromkeys(place for r in rounds for place in r["danger"]):
        deaths, early_s, more, late_s = np.sum([r["danger"].get(place, [0.0] * 4) for r in rounds], axis=0)
        danger[place] = [round(float(d / t), 4) if t else None for d, t in ((deaths, early_s), (more, late_s))]
    return {
        "rounds": len(rounds),
        "said_minus_others": points("said", "others"),
        "same_minus_others": points("same", "others"),
        "said_minus_same": points("said", "same"),
        "seen_minus_same": points("seen", "same"),
        "inside_80_others": inside("others"),
        "inside_80_same": inside("same"),
        "learning": round(float(np.mean([r["learning"] for r in rounds])), 2),
        "deaths_a_second_at_first_and_later": danger,
        "cut_runs": f"{sum(r['cut'] for r in rounds)} of {sum(r['runs'] for r in rounds)}",
    }


def main() -> None:
    """Prints one JSON line a round, and the summary."""
    parser = argparse.ArgumentParser(prog="python -m tests.demo_logs.closed_loop_parts", description=__doc__)
    parser.add_argument("game", choices=STAGED)
    parser.add_argument("--rounds", type=int, default=40, help="at least 2")
    parser.add_argument("--players", type=int, default=PLAYERS, help=f"of each round, {MOST_PLAYERS} at most")
    chosen = parser.parse_args()
    if not 1 <= chosen.players <= MOST_PLAYERS:
        parser.error(f"a log's player numbers go to 255: {MOST_PLAYERS} players a round at most")
    if chosen.rounds < 2:
        parser.error("a standard error needs two rounds or more")
    rounds = []
    for number in range(chosen.rounds):
        rounds.append(one_round(chosen.game, number, chosen.players))
        print(json.dumps(rounds[-1]), flush=True)
    print(json.dumps(summary(rounds)), flush=True)


if __name__ == "__main__":
    main()
