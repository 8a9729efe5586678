"""`setscrew ingest`: reads play logs into a study and says how far they can be trusted."""

import argparse
import json
import os
import sys
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import duckdb

from analysis.game_kind import REMEDY, contradictions
from analysis.quality import Verdict, judge
from analysis.reader import Reader
from analysis.words import counted
from dashboard.command_line import exits
from dashboard.command_line.opening import say
from dashboard.state.shared_study import SharedStudy
from ingest.capture.log_file import shown
from ingest.study.store import INGEST_MEMORY_MB, ImportResult, NoPacket, Status, could_read_more, import_log
from ingest.study.study_errors import CannotTakeIn, StudyBusy, StudyError

HELP = "read play logs into a study"
_SUFFIX = ".playlog"


@dataclass(frozen=True)
class _Refused:
    """A file or folder that was not taken in: what was found or what is wrong, and what to do."""

    file: str
    words: str
    bytes: int | None = None


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--study", required=True, metavar="STUDY", help="the study file; made if there is none")
    parser.add_argument(
        "paths", nargs="+", metavar="PATH", help=f"a play log, or a folder: every {_SUFFIX} file in it and below"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    logs = list(_logs(arguments.paths))
    captures: list[dict[str, Any]] = []
    odd: list[dict[str, Any]] = []
    refused = [log for log in logs if isinstance(log, _Refused)]
    try:
        if len(refused) < len(logs):  # otherwise a wrong name would make an empty study
            with SharedStudy(Path(arguments.study), INGEST_MEMORY_MB, say) as study:
                captures, refused = _take_in(study, logs, sys.stderr if arguments.json else sys.stdout)
                odd = _odd_roles(study)
        else:
            for one in refused:
                _say_refused(one)
    except StudyError as error:
        print(error, file=sys.stderr)
        return exits.BUSY if isinstance(error, StudyBusy) else exits.INPUT
    totals = _totals(captures)
    if arguments.json:
        left_out = [asdict(one) for one in refused]
        answer = {"captures": captures, "not_taken_in": left_out, "totals": totals, "roles": odd}
        print(json.dumps({"study": shown(arguments.study)} | answer))
    elif captures:
        print(
            f"{counted(len(captures), 'log')}, {totals['new']} new, {totals['grown']} grown, "
            f"{totals['unchanged']} unchanged: {counted(totals['runs'], 'run')}, {counted(totals['events'], 'event')}"
        )
    for contradiction in odd:
        print(f"{contradiction['game']}: {contradiction['words']}. {REMEDY}", file=sys.stderr)
    if refused:
        return exits.INPUT
    return exits.THIN if captures and all(one["verdict"] == "unusable" for one in captures) else exits.OK


def _odd_roles(study: SharedStudy) -> list[dict[str, Any]]:
    """The roles that the logs of the study speak against."""
    return [
        {"game": game, **asdict(one), "words": str(one)}
        for game, found in contradictions(Reader(study.connection)).items()
        for one in found
    ]


def _take_in(
    study: SharedStudy, logs: Iterable[Path | _Refused], told: Any
) -> tuple[list[dict[str, Any]], list[_Refused]]:
    """Every log, one after the other, and what became of it: one that cannot be taken in stops no other.

    A log that lacked its dictionary is read once more where a later one has brought it.
    """
    taken: list[tuple[Path, ImportResult]] = []
    refused: list[_Refused] = []

    def take(log: Path | _Refused) -> ImportResult | None:
        one = log if isinstance(log, _Refused) else _one(study, log)
        if isinstance(one, _Refused):
            refused.append(one)
            _say_refused(one)
            return None
        print(_line(_capture(one, judge(one))), file=told, flush=True)
        return one

    for log in logs:
        one = take(log)
        if one is not None and isinstance(log, Path):
            taken.append((log, one))
    with study.writing() as held:
        more = could_read_more(held)
    left = dict(more)
    for place, (log, one) in enumerate(taken):
        if one.capture_id in more:
            left.pop(one.capture_id, None)
            again = take(log)
            if again is not None:
                first = Status.NEW if one.status == Status.REFUSED else one.status
                status = again.status if first == Status.UNCHANGED else first
                taken[place] = log, replace(again, status=status)
    for name in left.values():
        print(f"{name}: the study knows its dictionary by now; ingest it again to read it.", file=sys.stderr)
    return [_capture(one, judge(one)) for _, one in taken], refused


def _one(shared: SharedStudy, log: Path) -> ImportResult | _Refused:
    """One log; an open dashboard may read before the next. Raises StudyError where the study itself is at fault."""
    try:
        with shared.writing() as study:
            return import_log(study, log)
    except NoPacket as error:
        return _Refused(error.file, judge(error.counts).words, error.counts.bytes)
    except OSError as error:
        return _unreadable(log, error)
    except CannotTakeIn as error:
        return _Refused(shown(log), str(error).removeprefix(f"{shown(log)}: not taken in: "))
    except StudyError:
        raise
    except duckdb.InterruptException:
        raise KeyboardInterrupt from None
    except Exception as error:
        if str(error) == "Query interrupted":  # what DuckDB may make of Ctrl+C
            raise
        said = f"{type(error).__name__}: {shown(str(error)[:200])}"
        return _Refused(shown(log), f"{said}. Keep the log, and report this as a fault of Setscrew.")


def _unreadable(path: Path, error: OSError) -> _Refused:
    """`error` may be of the log itself, or of the sidecar beside it."""
    other = error.filename is not None and Path(os.fsdecode(error.filename)) != path
    which = f"{shown(os.fsdecode(error.filename))} beside it" if other else "It"
    return _Refused(
        shown(path),
        f"{which} cannot be read ({error.strerror or error}). Check the file and who may read it, then ingest again.",
    )


def _say_refused(one: _Refused) -> None:
    print(f"{one.file}: not taken in. {one.words}", file=sys.stderr, flush=True)


def _logs(paths: Iterable[str]) -> Iterable[Path | _Refused]:
    """The files meant, folders opened, and what cannot be read or is not there."""
    for path in map(Path, paths):
        if path.is_dir():
            found, unread = _in_folder(path)
            yield from found
            yield from unread
            if not found and not unread:
                yield _Refused(shown(path), f"There is no {_SUFFIX} file in this folder; name the logs themselves.")
        elif path.exists():
            yield path
        else:
            yield _Refused(shown(path), "There is no such file or folder; check the name.")


def _in_folder(folder: Path) -> tuple[list[Path], list[_Refused]]:
    """The logs in a folder and below by name, and the folders that cannot be read."""
    found: list[Path] = []
    unread: list[_Refused] = []
    folders = [folder]
    while folders:
        here = folders.pop()
        try:
            with os.scandir(here) as entries:
                for entry in entries:
                    if entry.is_dir(follow_symlinks=False):
                        folders.append(Path(entry.path))
                    elif entry.name.endswith(_SUFFIX) and not entry.is_dir():
                        found.append(Path(entry.path))
        except OSError as error:
            words = f"This folder cannot be read ({error.strerror}), nor can what is in it. Check who may read it."
            unread.append(_Refused(shown(here), words))
    return sorted(found), unread


def _capture(result: ImportResult, verdict: Verdict) -> dict[str, Any]:
    row = asdict(result)
    renamed = {"rejected_packets": "rejected", "missing_packets": "missing", "dropped_events": "dropped"}
    out = {renamed.get(key, key.removesuffix("_bytes") if key == "tail_bytes" else key): row[key] for key in row}
    return out | {"lost_share": verdict.lost_share, "verdict": verdict.grade.value, "words": verdict.words}


def _totals(captures: list[dict[str, Any]]) -> dict[str, int]:
    sums = (
        "bytes",
        "packets",
        "events",
        "runs",
        "rejected",
        "missing",
        "dropped",
        "tail",
        "unread_bytes",
        "newer_packets",
        "power_ups",
        "damaged_runs",
        "cut_runs",
        "lost_starts",
        "open_runs",
    )
    totals = {key: sum(one[key] for one in captures) for key in sums}
    totals |= {status.value: sum(one["status"] == status for one in captures) for status in Status}
    return totals | {"captures": len(captures)}


def _line(capture: dict[str, Any]) -> str:
    read = f"{counted(capture['runs'], 'run')}, {counted(capture['events'], 'event')}"
    return f"{capture['file']}: {capture['status']}, {read}. {capture['words']}"
