"""`setscrew findings`: every answer to every question, for people or as JSON."""

import argparse
import json
import sys
from importlib.metadata import version
from typing import Any

from analysis.words import counted
from dashboard import exits
from dashboard.commands.choosing import add_selection_arguments, as_json, selections

HELP = (
    "what the study says: where they die, how long they last, whether they hit the note, and how sure that is"
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    add_selection_arguments(parser)
    parser.add_argument(
        "--question", action="append", default=[], metavar="Q", help="only this question; may be repeated"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Prints the findings of every chosen game."""
    from analysis.findings import FINDERS
    from analysis.findings.trust.logs_received import why_no_run
    from analysis.reader import Reader
    from dashboard.commands.opening import StudyTrouble, opened

    unknown = [question for question in arguments.question if question not in FINDERS]
    if unknown:
        print(f"There is no question “{unknown[0]}”. The questions: {', '.join(FINDERS)}.", file=sys.stderr)
        return exits.USAGE
    try:
        with opened(arguments.study) as study:
            reader = Reader(study.connection)
            games = tuple(reader.ask("study_games")["game"])
            try:
                chosen = selections(arguments, games)
            except ValueError as error:
                print(error, file=sys.stderr)
                return exits.USAGE
            answer = _answer(reader, arguments, chosen)
            unread = why_no_run(reader)
    except StudyTrouble as trouble:
        print(trouble, file=sys.stderr)
        return trouble.code
    if arguments.json:
        print(json.dumps(answer, ensure_ascii=False, allow_nan=False))
    else:
        _print(answer)
    if not any(game["runs"] for game in answer["games"]):
        print(unread or "No run was chosen: ingest play logs, or take filters off.", file=sys.stderr)
        return exits.THIN
    return exits.OK


def _answer(reader: Any, arguments: argparse.Namespace, chosen: list[Any]) -> dict[str, Any]:
    from analysis.findings import find

    games: list[dict[str, Any]] = []
    used: dict[str, None] = {}
    for selection in chosen:
        size = reader.ask_chosen("chosen_size", selection)
        found = find(reader, selection, tuple(arguments.question)) if size["runs"][0] else []
        used.update({finding.method: None for finding in found})
        games.append(
            {
                "game": selection.game,
                "selection": as_json(selection),
                "builds": list(reader.ask("game_builds", game=selection.game)["build"]),
                "players": int(size["players"][0]),
                "runs": int(size["runs"][0]),
                "findings": [finding.to_json() for finding in found],
            }
        )
    return {
        "setscrew": version("setscrew"),
        "study": str(arguments.study),
        "fingerprint": reader.fingerprint(),
        "games": games,
        "methods": {key: _method(key) for key in used},
    }


def _method(key: str) -> dict[str, Any]:
    from analysis.methods import METHODS

    method = METHODS[key]
    return {"name": method.name, "text": method.text, "sources": [source.text for source in method.sources]}


def _print(answer: dict[str, Any]) -> None:
    for game in answer["games"]:
        size = f"{counted(game['players'], 'player')}, {counted(game['runs'], 'run')}"
        print(f"\n{game['game']} — {size}\n")
        for finding in game["findings"]:
            print(f"{finding['title']}: {finding['sentence']}")
            hint = ", indicative only" if finding["indicative"] else ""
            size = f"{counted(finding['players'], 'player')}, {counted(finding['runs'], 'run')}"
            print(f"    [{finding['id']}; {size}{hint}]")
            for warning in finding["warnings"]:
                print(f"    ! {warning}")
    print(f"\nData fingerprint {answer['fingerprint']}")
