"""`setscrew forget`: takes play logs, or a player's runs, out of a study again. The logs themselves are not touched."""

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from analysis.words import counted
from dashboard.command_line import exits

HELP = "take play logs, or the runs of a player who withdrew, out of a study; the logs themselves are not touched"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument("--study", required=True, metavar="FILE", help="the study, a DuckDB file")
    parser.add_argument(
        "logs",
        nargs="*",
        metavar="LOG",
        help="the file, its name in the study, or its number there; without any, all that the study holds are listed",
    )
    parser.add_argument(
        "--player",
        metavar="TAG",
        help="in place of logs: all that the study holds of this player, for good; this study never takes it in again",
    )
    parser.add_argument("--yes", action="store_true", help="do not ask first")
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Says what goes with each log, asks, and takes them out; without a log, lists them."""
    from dashboard.command_line.forgetting_player import forget_player, needs_room, written_anew
    from dashboard.command_line.opening import StudyTrouble, opened

    if arguments.player is not None:
        if arguments.logs:
            raise StudyTrouble("Name logs or a player, not both.", exits.USAGE)
        return forget_player(arguments, lambda: _agreed(1))
    with opened(arguments.study) as study:
        going = _going(study, arguments)
    if going:
        needs_room(arguments.study)
    told = sys.stderr if arguments.json else sys.stdout
    for one in going:
        print(_said(one), file=told)
    # Nobody has to wait for the study while somebody thinks.
    if going and not arguments.yes and not _agreed(len(going)):
        raise StudyTrouble("Nothing was taken out. Where nobody can answer, say --yes.", exits.INTERRUPTED)
    with opened(arguments.study, read_only=not going) as study:
        left = _taken_out(study, going)
        if going:
            written_anew(study)
    if arguments.json:
        print(json.dumps({"study": str(arguments.study), "taken_out": going, "captures": left}))
        return exits.OK
    if going:
        print(
            f"Taken out of {arguments.study}, which now holds {counted(len(left), 'log')}. What is ingested again "
            "comes in again: a log that lies in the study's folder of recordings, as soon as the dashboard is opened."
        )
        return exits.OK
    for one in left:
        print(f"{one['capture_id']}: {one['name']}, {_size(one)}, received {one['received_at'][:16]} UTC")
    print(f"{counted(len(left), 'log')} in {arguments.study}; name those that are to be taken out")
    return exits.OK


def _going(study: Any, arguments: argparse.Namespace) -> list[dict[str, Any]]:
    """The captures that are meant, each with what the study holds by it alone."""
    from analysis.reader import Reader

    reader = Reader(study.connection)
    held = _held(reader)
    meant = dict.fromkeys(_meant(study, held, word) for word in arguments.logs)
    return [held[capture] | _alone(reader, capture) for capture in meant]


def _taken_out(study: Any, going: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Takes captures out, and returns those that are left. Raises StudyTrouble where they are not what they were."""
    from analysis.reader import Reader
    from dashboard.command_line.opening import StudyTrouble
    from ingest.said.forgetting import forget_capture

    reader = Reader(study.connection)
    held = _held(reader)
    for one in going:
        now = held.get(one["capture_id"])
        if now is None or now["name"] != one["name"]:
            raise StudyTrouble(
                f"{one['name']}: the study was changed meanwhile and nothing was taken out; call it again", exits.INPUT
            )
    for one in going:
        forget_capture(study, one["capture_id"])
    return list(_held(reader).values())


def _held(reader: Any) -> dict[int, dict[str, Any]]:
    """Every capture by its number."""
    columns = {name: column.tolist() for name, column in reader.ask("captures_held").items()}
    rows = [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]
    return {row["capture_id"]: row for row in rows}


def _alone(reader: Any, capture: int) -> dict[str, Any]:
    """What the study holds by this capture alone."""
    found = {name: column[0] for name, column in reader.ask("capture_alone", capture=capture).items()}
    return {
        "players": int(found["players"]),
        "players_elsewhere_too": int(found["players_elsewhere_too"]),
        "games": found["games"].tolist(),
        "builds": found["builds"].tolist(),
        "notes": int(found["notes"]),
    }


def _meant(study: Any, held: dict[int, dict[str, Any]], word: str) -> int:
    """The number of the capture that is meant. Raises StudyTrouble."""
    from dashboard.command_line.opening import StudyTrouble
    from ingest.capture.log_file import recognise

    path = Path(word)
    if path.is_file():
        try:
            with study.connection.cursor() as cursor:
                _, _, found = recognise(cursor, path, path.stat().st_size)
        except OSError as error:
            raise StudyTrouble(f"{word}: cannot be read ({error.strerror})", exits.INPUT) from None
        if found is not None:
            return found[0]
    named = [number for number, capture in held.items() if capture["name"] == word]
    if not named and word.isdecimal() and int(word) in held:
        named = [int(word)]
    if len(named) == 1:
        return named[0]
    if named:
        numbers = ", ".join(str(number) for number in named)
        raise StudyTrouble(
            f"{word}: the study holds {len(named)} logs of this name, numbers {numbers}; say which by its number",
            exits.USAGE,
        )
    raise StudyTrouble(
        f"{word}: the study holds no such log; without a name, `setscrew forget` lists what it holds", exits.USAGE
    )


def _said(one: dict[str, Any]) -> str:
    said = [f"{one['name']}: {_size(one)} go from the study."]
    alone = one["players"] - one["players_elsewhere_too"]
    if alone:
        said.append(f"{counted(alone, 'player')} played in no other log of their game.")
    if one["players_elsewhere_too"]:
        others = counted(one["players_elsewhere_too"], "player who", "players who")
        said.append(f"The attempts of {others} also played in other logs are counted anew.")
    if one["builds"]:
        said.append(f"Played in no other log: {', '.join(one['builds'])}.")
    if one["notes"]:
        stay = counted(one["notes"], "note on its runs stays", "notes on its runs stay")
        said.append(f"{stay}, for when it is ingested again.")
    return " ".join(said)


def _size(one: dict[str, Any]) -> str:
    return f"{counted(one['runs'], 'run')}, {counted(one['events'], 'event')}"


def _agreed(count: int) -> bool:
    """Whether somebody says yes. The question goes to standard error, so that the answer of --json stays alone."""
    print(f"Take {'it' if count == 1 else 'them'} out? [y/N] ", end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip().lower() in ("y", "yes")
