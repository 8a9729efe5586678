"""`python -m demo_logs.simulator.next_playtest GAME --tuned FOLDER OUT.playlog`: newcomers play the build you tuned.

FOLDER holds GAME_tuned.h, as `setscrew header` writes it. The log is of people who have not been in any demo log.
"""

import argparse
import sys
import tempfile
from pathlib import Path

from demo_logs.simulator.lantern import GAMES
from demo_logs.simulator.native import build
from demo_logs.simulator.people import person
from demo_logs.simulator.record import log_bytes, play
from demo_logs.simulator.sessions import LANTERN_1, Session
from demo_logs.simulator.sidecar import NEXT_DAY, write_sidecar

FIRST_PLAYER = 31
MOST_ROUNDS = 5


def next_log(game: str, tuned: Path, players: int, runs: int, round_: int, scratch: Path) -> bytes:
    """The log of one more playtest; `round_` chooses other people. Raises as `build` does."""
    firmware = build(game, tuned, scratch)
    # Tags must fit a byte of the log: after five rounds they come again, for others.
    first = FIRST_PLAYER + players * (round_ % MOST_ROUNDS)
    numbers = tuple(range(first, first + players))
    session = Session(f"{game}_next_{round_}", game, "tuned", LANTERN_1, numbers, runs)
    everybody = {number: person(number, stream=f"next {round_}") for number in numbers}
    return log_bytes(session, firmware, play(session, firmware, everybody, {}))


def main() -> int:
    """Exit code 0 when the log was written, 2 when the build cannot be made."""
    parser = argparse.ArgumentParser(prog="python -m demo_logs.simulator.next_playtest", description=__doc__)
    parser.add_argument("game", choices=sorted(GAMES))
    parser.add_argument("into", type=Path, metavar="OUT.playlog")
    parser.add_argument("--tuned", type=Path, required=True, metavar="FOLDER", help="where GAME_tuned.h is")
    parser.add_argument("--players", type=int, default=12)
    parser.add_argument("--runs", type=int, default=3, help="asked of each player")
    parser.add_argument("--round", type=int, default=0, help="0, 1, 2, ...: always new people")
    chosen = parser.parse_args()
    if not 1 <= chosen.players <= 40 or not 1 <= chosen.runs <= 20 or not 0 <= chosen.round < MOST_ROUNDS:
        parser.error(f"players from 1 to 40, runs from 1 to 20, round from 0 to {MOST_ROUNDS - 1}")
    if not (chosen.tuned / f"{chosen.game}_tuned.h").is_file():
        print(f"{chosen.tuned}: there is no {chosen.game}_tuned.h in it; write it there", file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory(prefix="lantern_") as scratch:
        try:
            data = next_log(chosen.game, chosen.tuned, chosen.players, chosen.runs, chosen.round, Path(scratch))
        except RuntimeError as error:
            print(error, file=sys.stderr)
            return 2
    chosen.into.write_bytes(data)
    write_sidecar(chosen.into, chosen.game, NEXT_DAY + chosen.round, LANTERN_1.number)
    print(f"{chosen.into}: {len(data)} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main())
