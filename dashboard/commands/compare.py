"""`setscrew compare`: did the change help? Two builds side by side, and predictions against what came."""

import argparse
import json
import sys
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path
from typing import Any

from analysis.stats.estimate import LEVEL
from analysis.words import amount, counted, interval_name, points, signed
from dashboard import exits

HELP = "did it help: two builds compared by player, and kept predictions against what came"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument("--study", required=True, metavar="FILE", help="the study, a DuckDB file")
    parser.add_argument("--game", metavar="TITLE", help="the game, where the study holds several")
    parser.add_argument(
        "--targets", metavar="TOML", help="by which targets; default: those kept in the study"
    )
    parser.add_argument(
        "--before",
        metavar="LABEL",
        help="the earlier build; default: the one played before the last, where that is known",
    )
    parser.add_argument(
        "--after",
        metavar="LABEL",
        help="the later build; default: the last that was played, where that is known",
    )
    parser.add_argument(
        "--remember",
        action="store_true",
        help="keep in the study that --before was played before --after",
    )
    parser.add_argument("--makers", action="store_true", help="the makers' own runs count too")
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Compares and prints."""
    from dashboard.commands.opening import StudyTrouble, opened
    from dashboard.commands.tuning_choice import TuningTrouble, read_target_file

    try:
        targets = read_target_file(Path(arguments.targets))[1] if arguments.targets else None
        if arguments.remember and not (arguments.before and arguments.after):
            raise TuningTrouble("--remember: name both builds, with --before and --after", exits.USAGE)
        with opened(arguments.study, read_only=not arguments.remember) as study:
            return _compare(study, arguments, targets)
    except (StudyTrouble, TuningTrouble) as trouble:
        print(trouble, file=sys.stderr)
        return trouble.code


def _compare(study: Any, arguments: argparse.Namespace, targets: Any) -> int:
    from analysis.finding import plain
    from analysis.findings.comparison import compare_game
    from analysis.findings.progress import of_players
    from analysis.reader import Reader
    from analysis.selection import Selection
    from analysis.tuning_answers.tuning_data import NothingToTune
    from dashboard.commands.tuning_choice import chosen_game
    from ingest.notes import note_order

    reader = Reader(study.connection)
    game = chosen_game(reader, arguments.game or (targets.game if targets else None))
    selection = Selection(game, include_team=arguments.makers)
    try:
        if arguments.remember:  # first: attempts are counted by it too
            note_order(study.connection, game, [arguments.before], arguments.after)
        found = compare_game(reader, selection, targets, arguments.before, arguments.after)
    except (NothingToTune, ValueError) as error:
        print(error, file=sys.stderr)
        return exits.USAGE
    answer = plain(
        {
            "setscrew": version("setscrew"),
            "study": str(arguments.study),
            "fingerprint": reader.fingerprint(),
            "game": game,
            "before": found.before,
            "after": found.after,
            "changes": [{"tunable": n, "before": a, "after": b, "unit": u} for n, a, b, u in found.changes],
            "compared": [
                {
                    "target": c.target.name,
                    "wanted": c.target.wanted,
                    "unit": c.target.unit,
                    "statistic": str(c.target.statistic),
                    "quantile": c.target.quantile,
                    "of": of_players(c.target),
                }
                | _renamed(asdict(c.difference))
                | {"mean": _renamed(asdict(c.mean)) if c.mean else None, "closer": c.closer}
                for c in found.compared
            ],
            "predictions": [asdict(s) | {"inside": s.inside} for s in found.scores],
            "why": found.why,
            "unordered": list(found.unordered),
        }
    )
    answered = bool(found.compared or found.scores)
    if arguments.json:
        print(json.dumps(answer, ensure_ascii=False, allow_nan=False))
    elif answered:
        _print(answer)
    if not answered:
        why = found.why or "neither build was played by anybody whom the targets speak of"
        how = (
            ". Name them with --before and --after; with --remember the study keeps it"
            if found.unordered
            else ""
        )
        print(f"{game}: {why}{how}.", file=sys.stderr)
        return exits.THIN
    return exits.OK


def _print(answer: dict[str, Any]) -> None:
    print(f"{answer['game']}: {answer['why'] or answer['before'] + ' -> ' + answer['after']}")
    for change in answer["changes"]:
        print(f"    {change['tunable']}: {change['before']} -> {change['after']}")
    for row in answer["compared"]:
        print(f"{row['target']}{row['of']}: {_difference(row, row['unit'])}")
        if row["mean"]:
            print(f"    mean of the players' values: {_difference(row['mean'], row['unit'])}")
    for score in answer["predictions"]:
        verdict = "within" if score["inside"] else "outside"
        print(
            f"Predicted for {score['target']}: {_said(score['said']['value'], score['unit'])}, came ", end=""
        )
        print(f"{_said(score['observed'], score['unit'])}: {verdict} the 80 % interval")
    print(f"\nData fingerprint {answer['fingerprint']}")


def _renamed(difference: dict[str, Any]) -> dict[str, Any]:
    return {"difference" if key == "value" else key: value for key, value in difference.items()}


def _difference(row: dict[str, Any], unit: str) -> str:
    """Both figures, and their difference where there is an interval."""
    said = f"{_said(row['before'], unit)} -> {_said(row['after'], unit)}; "
    after = counted(row["players_after"], "player")
    both = f"the same {after}" if row["how"] == "within" else f"{row['players_before']} and {after}"
    if row["low"] is None:
        return f"{said}no interval: {both} {'is' if both == 'the same 1 player' else 'are'} too few"
    write = points if unit == "share" else signed
    value, low, high = (write(row[key]) for key in ("difference", "low", "high"))
    return f"{said}difference {value} ({interval_name(LEVEL)} {low} to {high}), {both}"


def _said(value: float | None, unit: str) -> str:
    if value is None:
        return "nobody"
    return amount(value, unit)
