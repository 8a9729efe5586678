"""`python -m demo_logs.simulator.outcomes`: what a build truly does to new players, from many who never played here.

It answers what no playtest can: the population's own figure, to hold a proposal against. The people are drawn as
those of the logs are, but are others.
"""

import argparse
import json
import sys
import tempfile
from pathlib import Path
from statistics import mean, median, quantiles

from demo_logs.simulator.dice import Dice
from demo_logs.simulator.lantern import GAMES
from demo_logs.simulator.native import build
from demo_logs.simulator.people import Memory, person
from demo_logs.simulator.play import Console
from demo_logs.simulator.write import TUNED

Summary = dict[str, object]


def new_players(
    game: str, values: dict[str, int], people: int, attempts: int, group: str = "class"
) -> list[list[Summary]]:
    """For each of `people` new players, the summaries of their first `attempts` runs with the tunables `values`."""
    found = []
    for n in range(people):
        who, memory = person(n % 250, group, stream=f"population {n // 250}"), Memory()
        found.append(
            [
                GAMES[game]
                .run(values, who, memory, Console(0), Dice("population", game, n, a), 0)
                .go(a == 0, 0)
                .summary
                for a in range(attempts)
            ]
        )
    return found


def figures(game: str, players: list[list[Summary]]) -> dict[str, float]:
    """The outcomes of the targets' document for one game; shares are of players, first attempts unless named."""
    first = [runs[0] for runs in players]
    number = {key: [int(str(run[key])) for run in first] for key in first[0] if isinstance(first[0][key], int)}
    finished = [[run["ending"] == "finished" for run in runs] for runs in players]
    tries = len(finished[0])
    if game == "soot_wardens":
        return {
            "reach_stage 2": mean(s >= 2 for s in number["stage"]),
            "reach_stage 3": mean(s >= 3 for s in number["stage"]),
            "finish": mean(runs[0] for runs in finished),
            f"finish_within {tries}": mean(any(runs) for runs in finished),
            "deaths a run": mean(number["deaths"]),
        }
    if game == "tin_drizzle":
        shares = [sum(int(str(r["hits"])) for r in runs) / sum(int(str(r["notes"])) for r in runs) for runs in players]
        return {"hit_share median": median(shares), "hit_share lower_quarter": quantiles(shares, n=4)[0]}
    if game == "crate_loft":
        return {
            "level_reached median": float(median(number["level"])),
            "level_reached 6": mean(level >= 6 for level in number["level"]),
        }
    return {"streak 8": mean(s >= 8 for s in number["streak"]), "streak median": float(median(number["streak"]))}


def main() -> int:
    """Prints JSON; exit code 2 where the build cannot be made."""
    parser = argparse.ArgumentParser(prog="python -m demo_logs.simulator.outcomes", description=__doc__)
    parser.add_argument("game", choices=sorted(GAMES))
    parser.add_argument("--build", choices=sorted(TUNED), default="a")
    parser.add_argument("--tuned", type=Path, help="folder with a tuned header, instead of --build")
    parser.add_argument("--people", type=int, default=400)
    parser.add_argument("--attempts", type=int, default=3)
    parser.add_argument("--group", default="class", choices=("class", "beginners"))
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="lantern_") as scratch:
        try:
            values = build(chosen.game, chosen.tuned or TUNED[chosen.build], Path(scratch)).values
        except RuntimeError as error:
            print(error, file=sys.stderr)
            return 2
    players = new_players(chosen.game, values, chosen.people, chosen.attempts, chosen.group)
    result = {"values": values, "people": chosen.people, "figures": figures(chosen.game, players)}
    print(json.dumps(result, indent=1))
    return 0


if __name__ == "__main__":
    sys.exit(main())
