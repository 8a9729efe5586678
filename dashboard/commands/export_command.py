"""`setscrew export`: runs, lives, deaths and notes as files for spreadsheets and other programs."""

import argparse
import sys
from pathlib import Path

from analysis.words import counted
from dashboard.command_line import exits
from dashboard.command_line.answering import asked
from dashboard.command_line.opening import opened, writing_to

HELP = "write runs, lives, deaths and notes as CSV, Excel and Parquet"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument("--study", required=True, metavar="FILE", help="the study, a DuckDB file")
    parser.add_argument("--out", required=True, metavar="FOLDER", help="where to write; made when it is missing")
    parser.add_argument(
        "--format",
        action="append",
        default=[],
        metavar="F",
        help="csv, excel or parquet; may be repeated; default: all",
    )
    parser.add_argument("--game", metavar="TITLE", help="only this game")
    parser.add_argument("--makers", action="store_true", help="lives, deaths and notes of the makers' own runs too")
    parser.add_argument(
        "--tags",
        action="store_true",
        help="players by their tags, with remarks, names of logs and times; otherwise they are P1, P2, ...",
    )
    parser.add_argument("--name", metavar="NAME", help="what the study is called among others; default: as its file")
    parser.add_argument(
        "--events", action="store_true", help="the raw events too, as Parquet; they hold players' numbers: with --tags"
    )


def run(arguments: argparse.Namespace) -> int:
    """Writes the files and says what is in them."""
    if arguments.events and not arguments.tags:
        print("--events: raw events hold the players' numbers; say --tags too if they may leave", file=sys.stderr)
        return exits.USAGE
    folder = Path(arguments.out)
    a = arguments
    with writing_to(folder):
        with asked(a) as study:
            done = study.export(folder, a.format, a.game, makers=a.makers, tags=a.tags, name=a.name)
        raw = _raw(a.study, folder) if a.events else []
    print(folder)
    sizes = ", ".join(counted(rows, name.removesuffix("s"), name) for name, rows in done.rows.items())
    print(f"{counted(len(done.files) + len(raw), 'file')}: {sizes}", file=sys.stderr)
    for remark in done.remarks:
        print(remark, file=sys.stderr)
    return exits.OK


def _raw(study_path: str, folder: Path) -> list[Path]:
    """The tables of events as they are in the study."""
    from ingest.parquet import export_parquet

    with opened(study_path) as study:
        return export_parquet(study, folder / "raw")
