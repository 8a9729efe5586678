"""`setscrew ingest`: reads play logs into a study and says how far they can be trusted."""

import argparse
import json
import sys
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from analysis.counting import counted
from analysis.stats.quality import Verdict, judge
from dashboard import exits
from ingest.store import (
    INGEST_MEMORY_MB,
    ImportResult,
    NoPacket,
    Status,
    StudyBusy,
    StudyError,
    import_log,
    open_study,
)

HELP = "read play logs into a study"
_SUFFIX = ".playlog"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--study", required=True, metavar="STUDY", help="the study file; made if there is none"
    )
    parser.add_argument(
        "paths",
        nargs="+",
        metavar="PATH",
        help=f"a play log, or a folder: every {_SUFFIX} file in it and below",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    try:
        logs = list(_logs(arguments.paths))
        with open_study(arguments.study, memory_mb=INGEST_MEMORY_MB) as study:
            captures: list[dict[str, Any]] = []
            refused: list[dict[str, Any]] = []
            for log in logs:
                try:
                    result = import_log(study, log)
                except NoPacket as error:
                    words = judge(error.counts).words
                    refused.append({"file": error.file, "bytes": error.counts.bytes, "words": words})
                    print(f"{error.file}: not taken in. {words}", file=sys.stderr, flush=True)
                    continue
                except OSError as error:
                    raise StudyError(
                        f"{log}: cannot be read ({error.strerror}); what came before it is ingested"
                    ) from None
                captures.append(_capture(result, judge(result)))
                print(_line(captures[-1]), file=sys.stderr if arguments.json else sys.stdout, flush=True)
    except StudyBusy as error:
        print(error, file=sys.stderr)
        return exits.BUSY
    except StudyError as error:
        print(error, file=sys.stderr)
        return exits.INPUT
    totals = _totals(captures)
    if arguments.json:
        answer = {"captures": captures, "not_taken_in": refused, "totals": totals}
        print(json.dumps({"study": str(arguments.study)} | answer))
    elif captures:
        print(
            f"{counted(len(captures), 'log')}, {totals['new']} new, {totals['grown']} grown, "
            f"{totals['unchanged']} unchanged: {counted(totals['runs'], 'run')}, {counted(totals['events'], 'event')}"
        )
    if refused:
        return exits.INPUT
    return exits.THIN if captures and all(one["verdict"] == "unusable" for one in captures) else exits.OK


def _logs(paths: Iterable[str]) -> Iterable[Path]:
    """The files meant, folders opened; raises StudyError for a path that is not there."""
    for path in map(Path, paths):
        if path.is_dir():
            found = sorted(log for log in path.rglob(f"*{_SUFFIX}") if log.is_file())
            if not found:
                raise StudyError(
                    f"{path}: there is no {_SUFFIX} file in this folder; name the logs themselves"
                )
            yield from found
        elif path.exists():
            yield path
        else:
            raise StudyError(f"{path}: there is no such file or folder; check the name")


def _capture(result: ImportResult, verdict: Verdict) -> dict[str, Any]:
    row = asdict(result)
    renamed = {"rejected_packets": "rejected", "missing_packets": "missing", "dropped_events": "dropped"}
    out = {
        renamed.get(key, key.removesuffix("_bytes") if key == "tail_bytes" else key): row[key] for key in row
    }
    return out | {"lost_share": verdict.lost_share, "verdict": verdict.grade.value, "words": verdict.words}


def _totals(captures: list[dict[str, Any]]) -> dict[str, int]:
    sums = ("bytes", "packets", "events", "runs", "rejected", "missing", "dropped", "tail", "unread_bytes",
            "newer_packets", "power_ups", "damaged_runs", "cut_runs")  # fmt: skip
    totals = {key: sum(one[key] for one in captures) for key in sums}
    totals |= {status.value: sum(one["status"] == status for one in captures) for status in Status}
    return totals | {"captures": len(captures)}


def _line(capture: dict[str, Any]) -> str:
    read = f"{counted(capture['runs'], 'run')}, {counted(capture['events'], 'event')}"
    return f"{capture['file']}: {capture['status']}, {read}. {capture['words']}"
