"""`setscrew propose`: which values reach the designers' targets, how sure that is, or what would settle it."""

import argparse
import json
import sys
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path
from typing import Any

from analysis.words import amount
from dashboard import exits

HELP = "what to change so that the targets are met, with the doubt that remains"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument("--study", required=True, metavar="FILE", help="the study, a DuckDB file")
    parser.add_argument(
        "--targets", required=True, metavar="TOML", help="the targets (analysis/tuning/TARGETS.md)"
    )
    parser.add_argument("--game", metavar="TITLE", help="the game, where the study holds several")
    parser.add_argument("--build", metavar="LABEL", help="the build to change; default: that of the last run")
    parser.add_argument("--makers", action="store_true", help="the makers' own runs count too")
    parser.add_argument(
        "--keep", action="store_true", help="keep targets and predictions in the study, to be scored"
    )
    parser.add_argument(
        "--sensitivity", action="store_true", help="also what would be predicted under other assumptions"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Fits, searches and prints."""
    from dashboard.commands.opening import StudyTrouble, opened
    from dashboard.commands.tuning_choice import TuningTrouble, read_target_file

    try:
        text, targets = read_target_file(Path(arguments.targets))
        with opened(arguments.study) as study:
            answer, whole = _answer(study, arguments, targets)
        if arguments.keep and answer.proposals:
            # Only now: all the while it was worked out, others could read the study too.
            with opened(arguments.study, read_only=False) as study:
                _keep(study, whole["game"], text, answer, targets)
    except (StudyTrouble, TuningTrouble) as trouble:
        print(trouble, file=sys.stderr)
        return trouble.code
    if arguments.json:
        print(json.dumps(whole, ensure_ascii=False, allow_nan=False))
    else:
        _print(whole)
    if not answer.proposals:
        for name, reason in answer.unanswered.items():
            print(f"{name}: {reason}", file=sys.stderr)
        return exits.THIN
    return exits.OK


def _answer(study: Any, arguments: argparse.Namespace, targets: Any) -> tuple[Any, dict[str, Any]]:
    """What is proposed, and all of it as JSON values."""
    from analysis.finding import plain
    from analysis.methods import METHODS
    from analysis.reader import Reader
    from analysis.selection import Selection
    from analysis.tuning_answers.tuning_answer import propose_game, under_other_assumptions
    from analysis.tuning_answers.tuning_data import NothingToTune
    from dashboard.commands.tuning_choice import TuningTrouble, chosen_game

    reader = Reader(study.connection)
    game = chosen_game(reader, arguments.game or targets.game)
    selection = Selection(game, include_team=arguments.makers)
    labels = [str(label) for label in reader.ask("game_builds", game=game)["build"]]
    if arguments.build is not None and arguments.build not in labels:
        raise TuningTrouble(
            f"{game} has no build {arguments.build!r}; it has {', '.join(labels)}", exits.USAGE
        )
    try:
        answer = propose_game(reader, selection, targets, arguments.build)
    except NothingToTune as error:
        raise TuningTrouble(str(error), exits.THIN) from None
    used = dict.fromkeys(p.method for p in answer.proposals if p.method in METHODS)
    whole = plain(
        {
            "setscrew": version("setscrew"),
            "study": str(arguments.study),
            "fingerprint": answer.fingerprint,
            "game": game,
            "build": answer.build,
            "targets": [asdict(t) for t in targets.targets],
            "proposals": [{"rank": n, **asdict(p)} for n, p in enumerate(answer.proposals, 1)],
            "unanswered": answer.unanswered,
            "warnings": list(answer.warnings),
            "methods": {
                key: {
                    "name": METHODS[key].name,
                    "text": METHODS[key].text,
                    "sources": [source.text for source in METHODS[key].sources],
                }
                for key in used
            },
        }
    )
    if arguments.sensitivity:
        rows = under_other_assumptions(answer, targets)
        whole["sensitivity"] = plain([asdict(row) for row in rows])
    return answer, whole


def _keep(study: Any, game: str, text: str, answer: Any, targets: Any) -> None:
    from analysis.findings.kept_predictions import predictions_to_keep
    from ingest.notes import add_prediction, add_target

    add_target(study.connection, game, text)
    for label, kept in predictions_to_keep(answer, targets):
        add_prediction(study.connection, game, label, answer.fingerprint, json.dumps(kept, allow_nan=False))


def _print(answer: dict[str, Any]) -> None:
    print(f"{answer['game']}, build {answer['build']}\n")
    for proposal in answer["proposals"]:
        print(f"{proposal['rank']}. {proposal['sentence']}")
        for change in proposal["changes"]:
            unit = "" if change["unit"] in ("", "-") else f" {change['unit']}"
            carried = proposal["carried_by"].get(change["tunable"], "")
            print(f"    {change['tunable']}: {change['now']} -> {change['proposed']}{unit}   [{carried}]")
        print(f"    better than no change: {proposal['chance_better']:.2f}; ", end="")
        print(f"within tolerance: {proposal['chance_close']:.2f}; ", end="")
        print(f"effective draws: {proposal['effective_draws']:,.0f}")
        if proposal["changes"]:
            print(f"    for `setscrew header`: --proposal {proposal['id']}")
        if proposal["settles_it"]:
            print(f"    would settle it: {proposal['settles_it']}")
        for warning in proposal["warnings"] if proposal["rank"] == 1 else ():
            print(f"    ! {warning}")
    for warning in answer["warnings"]:
        print(f"! {warning}")
    for name, reason in answer["unanswered"].items():
        print(f"{name}: {reason}")
    if "sensitivity" in answer:
        _print_sensitivity(answer["sensitivity"], answer["targets"])
    print(f"\nData fingerprint {answer['fingerprint']}")


def _print_sensitivity(rows: list[dict[str, Any]], targets: list[dict[str, Any]]) -> None:
    units = {target["name"]: target["unit"] for target in targets}
    print("\nThe first proposal, had something else been assumed (now -> then, 80 % interval):")
    for row in rows:
        unit, then = units[row["target"]], row["then"]
        span = f"{amount(then['low80'], unit)} to {amount(then['high80'], unit)}"
        print(f"    {row['assumption']}: {row['target']}: {amount(row['now']['value'], unit)} -> ", end="")
        print(f"{amount(then['value'], unit)} ({span})")
