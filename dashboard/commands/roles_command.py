"""`setscrew roles`: what a game's kinds, fields and tunables mean, listed, corrected, and corrections taken back."""

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from dashboard.command_line import exits

HELP = "list the roles of a game's events, fields and tunables, and correct wrong ones; the logs stay as they are"
_ACTIONS = {"list": 0, "set": 3, "undo": 0}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument("--study", required=True, metavar="FILE", help="the study, a DuckDB file")
    parser.add_argument(
        "action",
        nargs="?",
        default="list",
        choices=tuple(_ACTIONS),
        help="list (the default); set WHAT NAME ROLE; undo: takes the last correction back",
    )
    parser.add_argument(
        "words",
        nargs="*",
        metavar="WORD",
        help="of set: kind, field or tunable; its name, a field's with its kind (fell.why); the role, or none",
    )
    parser.add_argument("--game", metavar="TITLE", help="the game; needed where the study holds several")
    parser.add_argument(
        "--logs",
        action="append",
        default=[],
        metavar="PATH",
        help="where logs lie that are to be read again, a file or a folder; may be repeated. The study's folder, this "
        "one and those in them are looked through anyway",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Does what was asked, reads again what must be, and lists the roles."""
    from dashboard.command_line.opening import opened
    from ingest.said.roles import BadRole
    from ingest.study.study_errors import CannotTakeIn

    if len(arguments.words) != _ACTIONS[arguments.action]:
        print(
            "Say `set kind fell death`, `set field fell.why cause`, `set tunable fall_ms none`; `undo`; or nothing, "
            "which lists the roles.",
            file=sys.stderr,
        )
        return exits.USAGE
    try:
        with opened(arguments.study, read_only=arguments.action == "list") as study:
            return _answer(study, arguments)
    except BadRole as error:
        print(error, file=sys.stderr)
        return exits.USAGE
    except CannotTakeIn as error:
        print(f"The correction is kept, but its logs could not be read again. {error}", file=sys.stderr)
        return exits.INPUT


def _answer(study: Any, arguments: argparse.Namespace) -> int:
    from ingest.said.notes import note_role, take_back
    from ingest.said.rereading import Followed, behind, read_again, usual_places
    from ingest.said.roles import BadRole, corrections
    from ingest.study.store import import_log

    with study.connection.cursor() as cursor:
        game = _game(cursor, arguments.game)
        held = corrections(cursor, game)
    if arguments.action == "set":
        what, name, role = arguments.words
        note_role(study.connection, game, what, name, None if role == "none" else role)
    elif arguments.action == "undo":
        if not held:
            raise BadRole(f"no role of {game!r} was corrected, so there is nothing to undo")
        take_back(study.connection, "role_notes", held[-1][0])
    done = Followed((), tuple(behind(study).values()))
    if arguments.action != "list":
        places = [*map(Path, arguments.logs), *usual_places(study)]
        done = read_again(study, places, lambda path: import_log(study, path))
    _tell(study, game, done, arguments)
    return exits.OK


def _game(cursor: Any, wanted: str | None) -> str:
    """The game that is meant. Raises BadRole."""
    from ingest.said.roles import BadRole, games

    there = games(cursor)
    if wanted is None and len(there) == 1:
        return str(there[0])
    if wanted not in there:
        which = "Say which game with --game" if wanted is None else f"the study holds no game {wanted!r}"
        raise BadRole(f"{which}; it holds: {', '.join(there) or 'none'}")
    return str(wanted)


def _tell(study: Any, game: str, done: Any, arguments: argparse.Namespace) -> None:
    from ingest.said.roles import listed

    with study.connection.cursor() as cursor:
        roles = listed(cursor, game)
    if arguments.json:
        rows = [{"what": r.what, "name": r.name, "role": r.role, "logged": r.logged} for r in roles]
        answer = {"game": game, "roles": rows, "read_again": list(done.read), "not_at_hand": list(done.missing)}
        print(json.dumps({"study": str(arguments.study)} | answer))
    else:
        print(f"{game}:")
        for r in roles:
            was = "" if r.role == r.logged else f" (corrected; the log says {r.logged or 'none'})"
            print(f"  {r.what} {r.name}: {r.role or 'none'}{was}")
        if done.read:
            print(f"Read again: {', '.join(done.read)}")
    if done.missing:
        print(done.words(), file=sys.stderr)
