"""`python -m demo_logs.simulator`: plays all demo sessions again and rewrites the logs and their truth."""

import argparse
import sys
from pathlib import Path

from demo_logs.simulator.draw import write_pictures
from demo_logs.simulator.lantern import GAMES
from demo_logs.simulator.write import write_logs, write_truth


def main() -> int:
    """Exit code 0 when everything was written, 2 when a game could not be compiled."""
    parser = argparse.ArgumentParser(prog="python -m demo_logs.simulator", description=__doc__)
    parser.add_argument("--into", type=Path, default=Path(__file__).parents[1], help="folder (default: demo_logs)")
    parser.add_argument(
        "--game", choices=sorted(GAMES), action="append", default=[], help="only this game, no truth file"
    )
    chosen = parser.parse_args()
    chosen.into.mkdir(parents=True, exist_ok=True)
    try:
        truth = write_logs(chosen.into, chosen.game)
    except RuntimeError as error:
        print(error, file=sys.stderr)
        return 2
    if not chosen.game:
        write_truth(chosen.into, truth)
        write_pictures(chosen.into / "stage_pictures")
    return 0


if __name__ == "__main__":
    sys.exit(main())
