"""`setscrew header`: the accepted values as a C header for the firmware, and what differs from the last one."""

import argparse
import json
import os
import re
import sys
from datetime import date
from importlib.metadata import version
from pathlib import Path
from typing import Any

from analysis.words import counted
from dashboard.command_line import exits
from dashboard.command_line.opening import StudyTrouble, explained, opened, writing_to

HELP = "write accepted values as a C header for the firmware"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument("--study", required=True, metavar="FILE", help="the study, a DuckDB file")
    parser.add_argument("--out", required=True, metavar="HEADER", help="the header to write, such as moth_tuned.h")
    parser.add_argument("--game", metavar="TITLE", help="the game, where the study holds several")
    parser.add_argument("--build", metavar="LABEL", help="the build to change; default: the last that was played")
    what = parser.add_argument_group("which values (the rest stays as it is)")
    what.add_argument("--proposal", metavar="ID", help="id of a proposal: name=value+name=value, or no_change")
    what.add_argument("--set", action="append", default=[], metavar="NAME=VALUE", help="one value; may be repeated")
    parser.add_argument("--prefix", default="TUNED_", help="what the macros' names begin with (default TUNED_)")
    parser.add_argument("--dry-run", action="store_true", help="only show what would change")
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Writes the header beside its final name first, so that no half header is ever compiled."""
    with explained(), opened(arguments.study) as study:
        return _write(study, arguments)


def _write(study: Any, arguments: argparse.Namespace) -> int:
    from analysis.arguments import only_game
    from analysis.reader import Reader
    from analysis.tuning.c_header import MARK, NotHoldable, differences, header_text, read_values
    from analysis.tuning_answers.tuning_data import load_builds

    reader = Reader(study.connection)
    game = only_game(reader, arguments.game)
    builds = {b.label: b for b in load_builds(reader, game).values()}
    label = arguments.build or _newest(reader, game) or next(reversed(builds))
    if label not in builds:
        raise StudyTrouble(f"{game} has no build {label!r}; it has {', '.join(builds)}", exits.USAGE)
    if not re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", arguments.prefix):
        raise StudyTrouble(f"--prefix {arguments.prefix!r}: letters, digits and underscores only", exits.USAGE)
    setting = _setting(arguments)
    path = Path(arguments.out)
    unchanged = not (arguments.proposal or arguments.set)
    why = "the present values" if unchanged else "values set by hand"
    if arguments.proposal:
        why = f"proposal {arguments.proposal}"
    guard = re.sub(r"[^A-Za-z0-9]", "_", path.name).upper()
    try:
        text = header_text(
            builds[label].tunables,
            setting,
            game,
            label,
            reader.fingerprint(),
            date.today().isoformat(),
            why,
            f"SETSCREW_{guard}",
            arguments.prefix,
        )
        old = path.read_text(encoding="utf-8") if path.exists() else ""
    except NotHoldable as error:
        raise StudyTrouble(str(error), exits.USAGE) from None
    except (OSError, UnicodeDecodeError) as error:
        raise StudyTrouble(f"{path}: cannot be read ({error})", exits.INPUT) from None
    if old and not old.startswith(MARK):
        raise StudyTrouble(
            f"{path}: was not written by Setscrew and would be lost; choose another --out, or move it away", exits.INPUT
        )
    changed = differences(old, text)
    if not arguments.dry_run:
        part = path.with_name(path.name + ".part")
        with writing_to(path):
            part.write_text(text, encoding="utf-8", newline="\n")
            os.replace(part, path)
    answer = {
        "setscrew": version("setscrew"),
        "study": str(arguments.study),
        "fingerprint": reader.fingerprint(),
        "game": game,
        "build": label,
        "header": str(path),
        "written": not arguments.dry_run,
        "values": read_values(text),
        "differences": [{"macro": d.name, "before": d.before, "after": d.after} for d in changed],
    }
    if unchanged:
        print(
            f"These are the present values of {label}: nothing was changed. Choose a proposal with --proposal ID "
            "(`setscrew propose` prints the ids), or values with --set NAME=VALUE.",
            file=sys.stderr,
        )
    if arguments.json:
        print(json.dumps(answer, allow_nan=False))
    else:
        for d in changed:
            print(f"{d.name}: {'new' if d.before is None else d.before} -> {'gone' if d.after is None else d.after}")
        print(
            f"{path}: {'not written (--dry-run)' if arguments.dry_run else 'written'}, "
            f"{counted(len(changed), 'value differs', 'values differ')}"
        )
        print("Before flashing: keep the last firmware, and check the game on the console once.")
    return exits.OK


def _newest(reader: Any, game: str) -> str | None:
    """The build that was played last; None where nobody of the audience has played. Raises StudyTrouble."""
    from analysis.played_order import not_known, played_order

    order = played_order(reader, game)
    if order.builds and order.newest() is None:
        why = not_known(order.maybe_last(order.builds))
        raise StudyTrouble(f"{game}: {why}. Say with --build which one is to be changed", exits.USAGE)
    return order.newest()


def _setting(arguments: argparse.Namespace) -> dict[str, int]:
    """What the proposal says, then what is set by hand. Raises WrongArgument."""
    from analysis.arguments import setting_from

    proposed = None if arguments.proposal == "no_change" else arguments.proposal
    by_hand = setting_from("set", "+".join(arguments.set) or None)
    return (setting_from("proposal", proposed or None) or {}) | (by_hand or {})
