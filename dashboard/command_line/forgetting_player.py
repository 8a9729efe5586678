"""`setscrew forget --player`: the runs of a player who withdrew, taken out of a study for good."""

import json
import sys
from argparse import Namespace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.words import counted, listed
from dashboard.command_line import exits

if TYPE_CHECKING:
    from ingest.said.withheld import OfPlayer


def forget_player(arguments: Namespace, agreed: Any) -> int:
    """Says what goes, asks, takes it out, and says what is left to do by hand. Raises StudyTrouble."""
    from dashboard.command_line.opening import StudyTrouble, opened
    from ingest.capture.player_tag import BadTag, player_tag
    from ingest.said.withheld import of_player, withhold_player

    try:
        tag = player_tag(arguments.player)
    except BadTag as error:
        raise StudyTrouble(str(error), exits.USAGE) from None
    with opened(arguments.study) as study:
        going = of_player(study.connection, tag)
    if not going.anything:
        raise StudyTrouble(f"{arguments.study} holds nothing of {tag}. Nothing was taken out.", exits.USAGE)
    needs_room(arguments.study)
    told = sys.stderr if arguments.json else sys.stdout
    print(_goes(tag, going), file=told)
    if not arguments.yes and not agreed():
        raise StudyTrouble("Nothing was taken out. Where nobody can answer, say --yes.", exits.INTERRUPTED)
    with opened(arguments.study, read_only=False) as study:
        gone = withhold_player(study.connection, tag)
        files = _files(study, gone)
        written_anew(study)
    if arguments.json:
        print(json.dumps({"study": str(arguments.study)} | _answer(tag, gone, files)))
    else:
        print(_left(tag, gone, files))
    return exits.OK


def needs_room(study: str | Path) -> None:
    """Raises StudyTrouble where the disk has no room to write the study's file anew."""
    from dashboard.command_line.opening import StudyTrouble
    from ingest.said.rewriting import room_to_rewrite

    if not room_to_rewrite(Path(study)):
        raise StudyTrouble(
            f"{study}: its file is written anew, so that nothing is left in it, and the disk has no room for a second "
            "one. Make room and say it again. Nothing was taken out.",
            exits.INPUT,
        )


def written_anew(study: Any) -> None:
    """Writes the file without what was taken out, and closes the study. Raises StudyTrouble where that fails."""
    from dashboard.command_line.opening import StudyTrouble
    from ingest.said.rewriting import rewrite
    from ingest.study.study_errors import StudyError

    try:
        rewrite(study)
    except StudyError as error:
        raise StudyTrouble(
            f"{error}. It is taken out of the study, but parts may lie in unused blocks of the file. Forget anything "
            "else, and the file is written anew; or ingest the logs into a new study.",
            exits.INPUT,
        ) from error


def _goes(tag: str, going: "OfPlayer") -> str:
    of = f" of {listed(list(going.games))}" if going.games else ""
    lines = [
        f"{tag}: {counted(going.counted, 'run')}{of} {_go(going.counted)} from the study for good, with all events."
    ]
    if going.open_runs:
        lines.append(
            f"{counted(going.open_runs, 'run')} that may be {tag}'s or another's {_go(going.open_runs)} too. If you "
            "know whose they were, say so first, on the page “Runs and notes”."
        )
    said = [counted(n, word) for n, word in ((going.notes, "note"), (going.ratings, "rating")) if n]
    said += ["what a list said of the player"] if going.listed else []
    if said:
        lines.append(f"With them: {listed(said)}.")
    return " ".join(lines)


def _go(count: int) -> str:
    return "goes" if count == 1 else "go"


def _left(tag: str, gone: "OfPlayer", files: list[str]) -> str:
    lines = [
        "Taken out. The study keeps which runs of which logs stay out, not whose they were: this study never takes "
        "them in again, any other does."
    ]
    if gone.captures:
        lines.append(
            "Still on disk, with these runs in them; delete them and every copy of them. What the study holds of the "
            "other players stays:"
        )
        lines += [f"  {one}" for one in files]
    lines.append(
        f"Not touched either: reports, tables and sheets written before, and {tag} in your own lists. New "
        f"runs recorded as {tag} come in as any other's."
    )
    if gone.mentions:
        places = counted(
            gone.mentions, "remark or version of the report's words", "remarks or versions of the report's words"
        )
        lines.append(
            f"{places} in the study {'names' if gone.mentions == 1 else 'name'} {tag} and {_stay(gone.mentions)}."
        )
    return "\n".join(lines)


def _stay(count: int) -> str:
    return "stays" if count == 1 else "stay"


def _files(study: Any, gone: "OfPlayer") -> list[str]:
    """The logs with these runs, and what lies beside them: as paths where they are found, else by name."""
    from ingest.capture.sidecar import sidecar_path
    from ingest.said.rereading import files_of, usual_places

    found: list[str] = []
    for capture_id, name in gone.captures:
        paths = list(files_of(study, capture_id, name, usual_places(study)))
        for path in paths:
            found.append(str(path))
            found += [str(sidecar_path(path))] if sidecar_path(path).exists() else []
        if not paths:
            found.append(f"{name} and {sidecar_path(Path(name)).name}, wherever they lie")
    return found


def _answer(tag: str, gone: "OfPlayer", files: list[str]) -> dict[str, Any]:
    return {
        "player": tag,
        "runs": gone.counted,
        "open_runs": gone.open_runs,
        "games": list(gone.games),
        "notes": gone.notes,
        "ratings": gone.ratings,
        "logs": [name for _, name in gone.captures],
        "files": files,
        "mentions": gone.mentions,
    }
