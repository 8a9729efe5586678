"""The words of a command line that choose runs, the same for every command that reads findings."""

import argparse
from typing import Any


def add_selection_arguments(parser: argparse.ArgumentParser) -> None:
    """Adds the study and the filter."""
    parser.add_argument("--study", required=True, metavar="FILE", help="the study, a DuckDB file")
    which = parser.add_argument_group("which runs")
    which.add_argument("--game", metavar="TITLE", help="one game; otherwise every game of the study in turn")
    which.add_argument(
        "--build",
        action="append",
        default=[],
        metavar="LABEL",
        help='only this build; may be repeated; "all": all builds together; default: the newest, where that is known',
    )
    which.add_argument("--stage", metavar="N", help="only stage N; 2r is its regular part, 2b its boss")
    which.add_argument("--player", action="append", default=[], metavar="TAG", help="only this player; may be repeated")
    which.add_argument("--group", action="append", default=[], metavar="NAME", help="only this group of players")
    which.add_argument("--attempts", metavar="A-B", help="only the A-th to B-th attempts of each player: 1-1, 1-3, 2-")
    which.add_argument("--makers", action="store_true", help="the makers' own runs count too")


def chosen(arguments: argparse.Namespace) -> dict[str, Any]:
    """What was said there, by the names that `analysis.Study.findings` gives it."""
    names = ("game", "build", "stage", "player", "group", "attempts", "makers")
    return {name: getattr(arguments, name) for name in names}
