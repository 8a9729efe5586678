"""`setscrew findings`: every answer to every question, for people or as JSON."""

import argparse

from dashboard.command_line.answering import add_all, asked, hand_over
from dashboard.command_line.choosing import add_selection_arguments, chosen

HELP = "what the study says: where they die, how long they last, whether they hit the note, and how sure that is"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    add_selection_arguments(parser)
    parser.add_argument(
        "--question", action="append", default=[], metavar="Q", help="only this question; may be repeated"
    )
    add_all(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Prints the findings of every chosen game."""
    with asked(arguments) as study:
        found = study.findings(question=arguments.question, **chosen(arguments))
    return hand_over(found, arguments.json, everything=arguments.all)
