"""What was counted of first runs, beside what a proposal says of them."""

from analysis.reader import Reader
from analysis.selection import Selection


def first_runs(reader: Reader, game: str, build: str) -> tuple[dict[str, float | None], int, int]:
    """Side effect (as in a proposal) -> what was counted of it in first runs on one build; how many players, and runs.

    "quit_share": the share of them that were given up; "run_length_s": their mean time alive, in seconds.
    """
    one = Selection(game, (build,), first_attempt=1, last_attempt=1)
    people = {name: column[0] for name, column in reader.ask_chosen("chosen_people", one).items()}
    runs = int(people["runs"])
    if not runs:
        return {}, 0, 0
    counts: dict[str, float | None] = {
        "quit_share": float(people["quit"] / runs),
        "run_length_s": 60 * float(people["minutes"] / runs),
    }
    return counts, int(people["players"]), runs
