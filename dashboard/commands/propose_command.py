"""`setscrew propose`: which values reach the designers' targets, how sure that is, or what would settle it."""

import argparse

from dashboard.command_line.answering import add_all, asked, hand_over
from ingest.vocabulary import Recruitment

HELP = "what to change so that the targets are met, with the doubt that remains"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument("--study", required=True, metavar="FILE", help="the study, a DuckDB file")
    parser.add_argument("--targets", required=True, metavar="TOML", help="the targets (analysis/tuning/TARGETS.md)")
    parser.add_argument("--game", metavar="TITLE", help="the game, where the study holds several")
    parser.add_argument("--build", metavar="LABEL", help="the build to change; default: that of the last run")
    parser.add_argument("--makers", action="store_true", help="the makers' own runs count too")
    parser.add_argument("--keep", action="store_true", help="keep targets and predictions in the study, to be scored")
    parser.add_argument(
        "--sensitivity", action="store_true", help="also what would be predicted under other assumptions"
    )
    parser.add_argument(
        "--testers",
        choices=tuple(map(str, Recruitment)),
        help="how those who played were found; default: as the targets file or the study says, else taken for friends",
    )
    add_all(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Fits, searches and prints."""
    a = arguments
    with asked(a) as study:
        found = study.propose(a.targets, a.game, a.build, makers=a.makers, sensitivity=a.sensitivity, testers=a.testers)
    if a.keep:
        # Only now: all the while it was worked out, others could read the study too.
        with asked(a, read_only=False) as study:
            study.keep(found)
    return hand_over(found, a.json, everything=a.all or a.sensitivity)
