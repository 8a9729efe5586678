"""`setscrew class`: the games of a class, each from its own study, side by side, with places that may be shared."""

import argparse
import sys
from glob import glob
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.command_line import exits
from dashboard.command_line.answering import hand_over
from dashboard.command_line.opening import StudyTrouble, opened, writing_to

if TYPE_CHECKING:
    from analysis.answers.class_result import ClassResult

HELP = "the games of a class side by side: several studies, and which places the data let each game hold"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument(
        "studies", nargs="+", metavar="STUDY", help="the studies, DuckDB files, or a folder of them; they are only read"
    )
    parser.add_argument(
        "--by",
        choices=("rating", "finished", "quit", "length"),
        help="the figure that counts, said before the playtest: its places are narrower than among all four",
    )
    parser.add_argument("--out", metavar="FOLDER", help="write a sheet to print here, as HTML and PDF")
    parser.add_argument("--paper", choices=("A4", "letter"), default="A4", help="the paper (default A4)")
    parser.add_argument("--browser", metavar="PROGRAM", help="a Chromium-family browser, for PDF")
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Reads each study in turn, goes on where one cannot be read, and prints."""
    from analysis.answers.class_result import ClassResult
    from analysis.findings.games.class_places import Entrant, class_places, entrants
    from analysis.reader import Reader

    a = arguments
    games: list[Entrant] = []
    unread: list[tuple[str, str]] = []
    names = _names(a.studies)
    for path, name in names.items():
        try:
            with opened(path) as study:
                games += entrants(Reader(study.connection), name)
        except StudyTrouble as trouble:
            unread.append((name, str(trouble).replace(str(path), name)))
            print(f"Not read: {trouble}", file=sys.stderr)
    result = ClassResult(class_places(games, a.by), tuple(names.values()), tuple(unread), a.by)
    if a.out:
        _write(result, a)
    code = hand_over(result, a.json)
    return exits.INPUT if unread else code


def _names(studies: list[str]) -> dict[Path, str]:
    """Each file once -> what it is called: its name, with its folder where two are called the same."""
    files: dict[Path, Path] = {}
    for word in studies:
        for one in _meant(word):
            files.setdefault(Path(one).resolve(), Path(one))
    names = [file.name for file in files.values()]
    return {
        path: file.name if names.count(file.name) == 1 else f"{path.parent.name}/{file.name}"
        for path, file in files.items()
    }


def _meant(word: str) -> list[str]:
    """A study, those of a folder, or those of a pattern: not every shell puts files in the place of `*.duckdb`."""
    if Path(word).is_dir():
        return [str(one) for one in sorted(Path(word).glob("*.duckdb"))] or [word]
    return [word] if Path(word).exists() else sorted(glob(word)) or [word]


def _write(result: "ClassResult", a: argparse.Namespace) -> None:
    from dashboard.sheets.class_sheet import class_sheet
    from dashboard.sheets.writing_sheets import write_sheets

    with writing_to(a.out):
        files, remarks = write_sheets({"class": class_sheet(result, a.paper)}, Path(a.out), a.browser)
    for line in (*map(str, files), *remarks):
        print(line, file=sys.stderr)
