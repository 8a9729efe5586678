"""`setscrew compare`: did the change help? Two builds side by side, and predictions against what came."""

import argparse

from dashboard.command_line.answering import add_all, asked, hand_over

HELP = "did it help: two builds compared by player, and kept predictions against what came"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument("--study", required=True, metavar="FILE", help="the study, a DuckDB file")
    parser.add_argument("--game", metavar="TITLE", help="the game, where the study holds several")
    parser.add_argument("--targets", metavar="TOML", help="by which targets; default: those kept in the study")
    parser.add_argument(
        "--before",
        metavar="LABEL",
        help="the earlier build; default: the one played before the last, where that is known",
    )
    parser.add_argument(
        "--after", metavar="LABEL", help="the later build; default: the last that was played, where that is known"
    )
    parser.add_argument(
        "--remember", action="store_true", help="keep in the study that --before was played before --after"
    )
    parser.add_argument("--makers", action="store_true", help="the makers' own runs count too")
    add_all(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Compares and prints."""
    a = arguments
    with asked(a, read_only=not a.remember) as study:
        found = study.compare(a.before, a.after, a.game, targets=a.targets, makers=a.makers, remember=a.remember)
    return hand_over(found, a.json, everything=a.all)
