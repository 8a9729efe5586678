"""`setscrew check`: what the analysis will be able to answer from a log, before anybody comes to play."""

import argparse
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from dashboard.command_line import exits
from dashboard.command_line.answering import hand_over
from dashboard.command_line.opening import explained

if TYPE_CHECKING:
    from analysis.answers.checked import Checked

HELP = "what the analysis will be able to answer from a log, and what to log for the rest; needs no study"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument("logs", nargs="+", metavar="LOG", help="a play log or recording of your firmware")
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Checks and prints."""
    from analysis.quality import judge
    from ingest.study.store import NoPacket

    try:
        with explained("the study in which logs are read for a check"):
            found = checked(arguments.logs)
    except NoPacket as error:
        print(f"{error.file}: {judge(error.counts).words}", file=sys.stderr)
        return exits.INPUT
    except OSError as error:
        print(f"{error.filename}: it cannot be read ({error.strerror or error}). Check its name.", file=sys.stderr)
        return exits.INPUT
    return hand_over(found, arguments.json)


def checked(logs: Sequence[str | Path]) -> "Checked":
    """What can be answered from these logs alone: they are read into a study that is thrown away.

    That lies on disk, so that memory does not grow with the logs. Raises NoPacket, OSError,
    StudyError.
    """
    import analysis
    from analysis.quality import judge
    from ingest.study.store import INGEST_MEMORY_MB, import_log, open_study

    with TemporaryDirectory(prefix="setscrew-", ignore_cleanup_errors=True) as folder:
        path = Path(folder) / "check.duckdb"
        with open_study(path, memory_mb=INGEST_MEMORY_MB) as study:
            taken = [import_log(study, log) for log in logs]
        found = analysis.open(path).check()
    why = " ".join(f"{one.file}: {judge(one).words}" for one in taken) if found.missing else ""
    return replace(found, study=", ".join(map(str, logs)), missing=why)
