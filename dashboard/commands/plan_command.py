"""`setscrew plan`: the next playtest, with players needed, schedule, instructions, stopping rule; sheets to print."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.command_line import exits
from dashboard.command_line.answering import add_all, asked, hand_over
from dashboard.command_line.opening import StudyTrouble, explained, writing_to

if TYPE_CHECKING:
    from analysis import Study
    from analysis.answers.planned import Planned
    from analysis.tuning_answers.lesson import Lesson

HELP = "plan the next playtest: how many players, who plays what, what to tell them, when to stop"
_NO_GAME = "our game"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument("--study", metavar="FILE", help="the study, a DuckDB file; needed but for --sheets")
    parser.add_argument(
        "--targets", metavar="TOML", help="the targets (analysis/tuning/TARGETS.md); needed but for --sheets"
    )
    parser.add_argument("--game", metavar="TITLE", help="the game, where the study holds several")
    parser.add_argument("--build", metavar="LABEL", help="the build to plan from; default: that of the last run")
    parser.add_argument(
        "--precision", type=float, metavar="X", help="wanted: half the 80 %% interval, in points or the target's unit"
    )
    parser.add_argument("--players", type=int, metavar="N", help="players to schedule; default: as many as needed")
    parser.add_argument("--runs", type=int, default=3, metavar="N", help="runs each (default 3; less than 2 misleads)")
    parser.add_argument("--against", metavar="ID", help="a proposal's id, to be played against the present build")
    parser.add_argument("--within", action="store_true", help="every player plays both builds, in balanced order")
    parser.add_argument("--quick", action="store_true", help="no simulation of what more players would teach")
    parser.add_argument("--out", metavar="FILE", help="write the sheet (Markdown) here instead of printing it")
    sheets = parser.add_argument_group("sheets to print, for the table and for the teacher of a class")
    sheets.add_argument("--sheets", metavar="FOLDER", help="write them here; without targets or study by usual numbers")
    sheets.add_argument(
        "--pairs", type=int, default=30, metavar="N", help="pairs of the class, a table each (default 30)"
    )
    sheets.add_argument("--minutes", type=float, default=60, metavar="M", help="how long the lesson is (default 60)")
    sheets.add_argument("--paper", choices=("A4", "letter"), default="A4", help="the paper (default A4)")
    sheets.add_argument("--browser", metavar="PROGRAM", help="a Chromium-family browser, for PDF")
    add_all(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Plans and prints."""
    a = arguments
    plan: Planned | None = None
    lesson: Lesson | None = None
    if a.study and a.targets:
        with asked(a) as study:
            plan = _planned(study, a)
            lesson = study.lesson(plan=plan, pairs=a.pairs, minutes=a.minutes) if a.sheets else None
    elif not a.sheets or a.json or a.out or a.against:
        raise StudyTrouble("A plan needs --study and --targets; only sheets (--sheets) can do without.", exits.USAGE)
    else:
        lesson = _unplanned(a)
    if a.out and plan:
        with writing_to(a.out):
            Path(a.out).write_text(plan.full_text(), encoding="utf-8")
    if lesson:
        _write_sheets(lesson, a)
    if plan is None:
        return exits.OK
    return hand_over(plan, a.json, f"{a.out}: written" if a.out else None, a.all)


def _planned(study: "Study", a: argparse.Namespace) -> "Planned":
    return study.plan(
        a.targets,
        a.game,
        a.build,
        precision=a.precision,
        players=a.players,
        runs=a.runs,
        against=a.against,
        within=a.within,
        quick=a.quick,
    )


def _unplanned(a: argparse.Namespace) -> "Lesson":
    """The lesson without a target: by what was measured, or by assumptions where there is nothing yet."""
    from analysis.arguments import within
    from analysis.tuning_answers.lesson import lesson_of
    from analysis.tuning_answers.tuning_data import NothingToTune

    said = {"players": a.players, "runs": a.runs, "pairs": a.pairs, "minutes": a.minutes}
    if a.study:
        with asked(a) as study:
            try:
                return study.lesson(a.game, **said)
            except NothingToTune as error:
                print(f"{a.study}: {error}. The sheets are by usual numbers.", file=sys.stderr)
    with explained():
        for name, most in (("players", 250), ("runs", 50), ("pairs", 125), ("minutes", 480)):
            within(name, said[name], most)
        return lesson_of(None, a.game or _NO_GAME, Path(a.study).name if a.study else "", **said)


def _write_sheets(lesson: "Lesson", a: argparse.Namespace) -> None:
    from dashboard.sheets.table_sheet import table_sheet
    from dashboard.sheets.teacher_sheet import answer, teacher_sheet, too_short
    from dashboard.sheets.writing_sheets import write_sheets

    sheets = {"for-the-table": table_sheet(lesson, a.paper), "for-the-teacher": teacher_sheet(lesson, a.paper)}
    with writing_to(a.sheets):
        files, remarks = write_sheets(sheets, Path(a.sheets), a.browser)
    told = sys.stderr if a.json else sys.stdout
    for file in files:
        print(file, file=told)
    short = too_short(lesson.hour)
    print(" ".join([answer(lesson.hour), *([short["says"]] if short else [])]).replace("\u00a0", " "), file=told)
    for remark in remarks:
        print(remark, file=sys.stderr)
