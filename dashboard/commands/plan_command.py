"""`setscrew plan`: the next playtest, with players needed, schedule, instructions and stopping rule."""

import argparse
from pathlib import Path

from dashboard.command_line import exits
from dashboard.command_line.answering import add_all, asked, hand_over
from dashboard.command_line.opening import StudyTrouble

HELP = "plan the next playtest: how many players, who plays what, what to tell them, when to stop"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument("--study", required=True, metavar="FILE", help="the study, a DuckDB file")
    parser.add_argument("--targets", required=True, metavar="TOML", help="the targets (analysis/tuning/TARGETS.md)")
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
    add_all(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Plans and prints."""
    a = arguments
    with asked(a) as study:
        plan = study.plan(
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
    if a.out:
        _write(Path(a.out), plan.full_text())
    return hand_over(plan, a.json, f"{a.out}: written" if a.out else None, a.all)


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise StudyTrouble(f"{path}: cannot be written ({error.strerror or error})", exits.INPUT) from None
