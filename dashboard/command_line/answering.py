"""A command that prints what the public face returns: the study it asks, and how the answer is handed over."""

import argparse
import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from dashboard.command_line import exits
from dashboard.command_line.opening import explained, say

if TYPE_CHECKING:
    from analysis import Study
    from analysis.answers.answer import Answer


@contextmanager
def asked(arguments: argparse.Namespace, read_only: bool = True) -> "Iterator[Study]":
    """The study of a command line, held to the end of the `with`. Raises StudyTrouble for what cannot be answered."""
    import analysis

    with explained(arguments.study), analysis.Study(arguments.study, read_only, say) as study:
        yield study


def add_all(parser: argparse.ArgumentParser) -> None:
    """The word `--all`."""
    parser.add_argument("--all", action="store_true", help="print everything, not only the answer")


def hand_over(answer: "Answer", as_json: bool, printed: str | None = None, everything: bool = False) -> int:
    """Prints an answer, or `printed` in its place for people, and says why it is none; returns the exit code.

    everything: not only what to know first.
    """
    if as_json:
        print(json.dumps(answer.to_json(), allow_nan=False))  # in ASCII: a pipe's encoding need not be UTF-8
    else:
        text = (answer.full_text() if everything else str(answer)) if printed is None else printed
        if text != answer.missing:  # which is told where errors are told
            print(text)
    if answer.missing:
        print(answer.missing, file=sys.stderr)
        return exits.THIN
    return exits.OK
