"""`setscrew`: the command line. Each subcommand lives in its own module of dashboard/commands/."""

import argparse
import importlib
import io
import os
import signal
import sys
import threading

from dashboard.command_line import exits, streams
from dashboard.command_line.opening import StudyTrouble
from dashboard.commands import COMMANDS
from ingest.study.study_errors import damage

ABOUT = "From the play logs of a handheld game to what makes it too hard or too easy, and what to change."


def main(arguments: list[str] | None = None) -> int:
    """Runs one subcommand and returns its exit code (dashboard/command_line/exits.py)."""
    # Our matrices are small: a second thread costs more than it helps. Read when numpy is imported, which is later.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    streams.prepare()
    code = _run(arguments)
    why = streams.unwritten()
    if why is not None:
        print(f"Not all that was to be printed could be written: {why}.", file=sys.stderr)
        return exits.INPUT
    return code


def _run(arguments: list[str] | None) -> int:
    parser = argparse.ArgumentParser(prog="setscrew", description=ABOUT)
    words = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    given = sys.argv[1:] if arguments is None else arguments
    # A command that is named is read alone: the others import what it can do without.
    named = {word: COMMANDS[word] for word in given[:1] if word in COMMANDS}
    for name, module_name in (named or COMMANDS).items():
        module = importlib.import_module(module_name)
        sub = words.add_parser(name, help=module.HELP, description=module.HELP)
        module.add_arguments(sub)
        sub.set_defaults(run=module.run)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # names may hold what the terminal's encoding lacks
            stream.reconfigure(errors="backslashreplace")
    chosen = parser.parse_args(arguments)
    _end_on_request()
    try:
        return int(chosen.run(chosen))
    except KeyboardInterrupt:
        return exits.INTERRUPTED
    except StudyTrouble as trouble:
        print(trouble, file=sys.stderr)
        return trouble.code
    except RuntimeError as error:
        # What DuckDB makes of a KeyboardInterrupt that comes in the midst of a query.
        if str(error) != "Query interrupted":
            raise
        return exits.INTERRUPTED
    except Exception as error:
        damaged = damage(getattr(chosen, "study", "the study"), error)
        if damaged is None:
            raise
        print(damaged, file=sys.stderr)
        return exits.INPUT


def _end_on_request() -> None:
    """Lets a request to end from elsewhere (SIGTERM; on Windows Ctrl+Break) end as Ctrl+C does: recordings tidily,
    folders thrown away."""

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    if threading.current_thread() is threading.main_thread():  # only there may it be said
        for name in ("SIGTERM", "SIGBREAK"):
            if hasattr(signal, name):
                signal.signal(getattr(signal, name), interrupt)


if __name__ == "__main__":
    sys.exit(main())
