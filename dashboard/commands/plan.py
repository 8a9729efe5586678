"""`setscrew plan`: the next playtest, with players needed, schedule, instructions and stopping rule."""

import argparse
import json
import re
import sys
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path
from typing import Any

from dashboard import exits

HELP = "plan the next playtest: how many players, who plays what, what to tell them, when to stop"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument("--study", required=True, metavar="FILE", help="the study, a DuckDB file")
    parser.add_argument(
        "--targets", required=True, metavar="TOML", help="the targets (analysis/tuning/TARGETS.md)"
    )
    parser.add_argument("--game", metavar="TITLE", help="the game, where the study holds several")
    parser.add_argument(
        "--build", metavar="LABEL", help="the build to plan from; default: that of the last run"
    )
    parser.add_argument(
        "--precision",
        type=float,
        metavar="X",
        help="wanted: half the 80 %% interval, in points or the target's unit",
    )
    parser.add_argument(
        "--players", type=int, metavar="N", help="players to schedule; default: as many as needed"
    )
    parser.add_argument(
        "--runs", type=int, default=3, metavar="N", help="runs each (default 3; less than 2 misleads)"
    )
    parser.add_argument(
        "--against", metavar="ID", help="a proposal's id, to be played against the present build"
    )
    parser.add_argument(
        "--within", action="store_true", help="every player plays both builds, in balanced order"
    )
    parser.add_argument("--quick", action="store_true", help="no simulation of what more players would teach")
    parser.add_argument(
        "--out", metavar="FILE", help="write the sheet (Markdown) here instead of printing it"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Plans and prints."""
    from dashboard.commands.opening import StudyTrouble, opened
    from dashboard.commands.tuning_choice import TuningTrouble, read_target_file

    try:
        _, targets = read_target_file(Path(arguments.targets))
        with opened(arguments.study) as study:
            answer = _plan(study, arguments, targets)
        return _hand_over(answer, arguments)
    except (StudyTrouble, TuningTrouble) as trouble:
        print(trouble, file=sys.stderr)
        return trouble.code


def _plan(study: Any, arguments: argparse.Namespace, targets: Any) -> dict[str, Any]:
    from analysis.finding import plain
    from analysis.reader import Reader
    from analysis.selection import Selection
    from analysis.tuning_answers.plan_game import plan_game
    from analysis.tuning_answers.tuning_data import NothingToTune
    from dashboard.commands.tuning_choice import TuningTrouble, chosen_game

    for name, value, most in (("players", arguments.players, 250), ("runs", arguments.runs, 50)):
        if value is not None and not 1 <= value <= most:
            raise TuningTrouble(f"--{name} must be from 1 to {most}", exits.USAGE)
    reader = Reader(study.connection)
    game = chosen_game(reader, arguments.game or targets.game)
    try:
        plan = plan_game(
            reader,
            Selection(game),
            targets,
            build=arguments.build,
            wanted=arguments.precision,
            players=arguments.players,
            runs=arguments.runs,
            against=_setting(arguments.against),
            within=arguments.within,
            simulate=not arguments.quick,
        )
    except NothingToTune as error:
        raise TuningTrouble(str(error), exits.THIN) from None
    except (KeyError, ValueError) as error:
        raise TuningTrouble(str(error).strip("'\""), exits.USAGE) from None
    head = {
        "setscrew": version("setscrew"),
        "study": str(arguments.study),
        "fingerprint": reader.fingerprint(),
        "game": game,
        "runs": arguments.runs,
    }
    return plain(head | asdict(plan))


def _setting(words: str | None) -> dict[str, int] | None:
    from dashboard.commands.tuning_choice import TuningTrouble

    if words is None:
        return None
    pairs = [word.partition("=") for word in words.split("+")]
    if any(not re.fullmatch(r"-?\d{1,10}", value) for _, _, value in pairs):
        raise TuningTrouble(f"--against {words!r}: write NAME=VALUE+NAME=VALUE", exits.USAGE)
    return {name: int(value) for name, _, value in pairs}


def _hand_over(answer: dict[str, Any], arguments: argparse.Namespace) -> int:
    from dashboard.commands.tuning_choice import TuningTrouble
    from dashboard.plan_sheet import sheet

    text = sheet(answer)
    if arguments.out:
        try:
            Path(arguments.out).write_text(text, encoding="utf-8")
        except OSError as error:
            raise TuningTrouble(
                f"{arguments.out}: cannot be written ({error.strerror or error})", exits.INPUT
            ) from None
    if arguments.json:
        print(json.dumps(answer | {"sheet": text}, ensure_ascii=False, allow_nan=False))
    elif arguments.out:
        print(f"{arguments.out}: written")
    else:
        print(text)
    return exits.OK
