"""`setscrew demo`: a fresh study of the demo logs, opened in the dashboard."""

import argparse
import shutil
import sys
import tempfile
import tomllib
from pathlib import Path

import demo_logs
from analysis.words import counted
from dashboard.command_line import exits
from dashboard.command_line.listening import port_number, serve_at

HELP = "read the demo logs into a fresh study and open the dashboard on it"
# The game that README.md speaks of.
_GAME = "Soot Wardens"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument(
        "--study",
        type=Path,
        metavar="STUDY",
        help="keep the study in this new file, and what is recorded beside it (otherwise all is thrown away)",
    )
    parser.add_argument("--port", type=port_number, default=0, help="port of the dashboard (default: any that is free)")
    parser.add_argument("--no-browser", action="store_true", help="only print the address")


def run(arguments: argparse.Namespace) -> int:
    """Ingests every demo log with the makers' targets, and serves the dashboard until it is interrupted."""
    if arguments.study is not None and arguments.study.exists():
        print(
            f"{arguments.study} exists already, and the demo logs do not belong into another study. Open it with "
            f"`setscrew show --study {arguments.study}`, or name a new file.",
            file=sys.stderr,
        )
        return exits.INPUT
    if arguments.study is not None:
        return _show(arguments.study, arguments, thrown_away=False)
    with tempfile.TemporaryDirectory(prefix="setscrew-demo-", ignore_cleanup_errors=True) as folder:
        return _show(Path(folder) / "demo.duckdb", arguments, thrown_away=True)


def _show(path: Path, arguments: argparse.Namespace, thrown_away: bool) -> int:
    from dashboard.command_line.opening import beside, open_shared
    from ingest.said.notes import add_target
    from ingest.said.people import take_players
    from ingest.study.store import import_log

    logs_folder = Path(demo_logs.__file__).parent
    shared = open_shared(path)
    with shared.writing() as study:
        for log in sorted(logs_folder.glob("*.playlog")):
            result = import_log(study, log)
            print(f"{log.name}: {counted(result.runs, 'run')}, {counted(result.events, 'event')}", flush=True)
        take_players(study.connection, logs_folder / "players.csv")
        for targets in sorted(logs_folder.glob("targets_*.toml")):
            text = targets.read_text(encoding="utf-8")
            add_target(study.connection, tomllib.loads(text)["game"], text)
    pictures = logs_folder / "stage_pictures"
    if not thrown_away:
        # Where `setscrew show` and `setscrew report` look for them.
        shipped, pictures = pictures, beside(path, None, "pictures")
        pictures.mkdir(exist_ok=True)
        for picture in sorted(shipped.glob("*.png")):
            if not (pictures / picture.name).exists():
                shutil.copyfile(picture, pictures / picture.name)
    if thrown_away:
        print(
            "This study, and all that is recorded in it, is deleted at the end; --study FILE keeps both.",
            file=sys.stderr,
            flush=True,
        )
    return serve_at(
        "127.0.0.1",
        arguments.port,
        shared,
        beside(path, None, "recordings"),
        open_browser=not arguments.no_browser,
        pictures=pictures,
        thrown_away=thrown_away,
        game=_GAME,
    )
