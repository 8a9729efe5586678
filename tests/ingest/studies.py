"""Studies for the tests: made from JSON Lines as people write them, asked in SQL."""

import json
from pathlib import Path
from typing import Any

from ingest.encode import encode_lines
from ingest.study.ids import PER_LOG
from ingest.study.store import ImportResult, Study, import_log

Line = dict[str, Any]


def dictionary(kinds: dict[str, tuple[str | None, dict[str, str]]], clock: int = 1000, **more: Any) -> Line:
    """A dictionary line. `kinds`: name -> (role, field name -> "type role"); tunables and the like in `more`."""
    made = []
    for name, (role, fields) in kinds.items():
        typed = []
        for field, words in fields.items():
            type_, _, field_role = words.partition(" ")
            typed.append({"name": field, "type": type_, "role": field_role or None})
        made.append({"name": name, "role": role, "fields": typed})
    return {
        "dictionary": {"game": "Moth Run", "firmware": "1.0", "clock": clock, "screen": [160, 128], "kinds": made}
        | more
    }


def event(t: int, kind: str, **fields: int) -> Line:
    """An event line."""
    return {"t": t, "kind": kind, **fields}


def log_of(lines: list[Line]) -> bytes:
    """The play log of JSON lines."""
    return b"".join(encode_lines(json.dumps(line) for line in lines))


def imported(study: Study, path: Path, log: bytes | list[Line]) -> ImportResult:
    """Writes a log to `path` and imports it."""
    path.write_bytes(log if isinstance(log, bytes) else log_of(log))
    return import_log(study, path)


def own(name: str) -> str:
    """The number of a power-up, run, stage or life within its log, as SQL: from 1."""
    return f"{name} % {PER_LOG} AS {name}"


def recorded_at(log: Path, started: str, *lines: tuple[float, int]) -> None:
    """Writes the sidecar of the log at `log`: when the recording began, and (seconds, bytes received by then)."""
    written = [{"capture": 1, "started": started, "source": "x"}, *({"at": at, "byte": byte} for at, byte in lines)]
    log.with_suffix(".capture.jsonl").write_text("".join(json.dumps(line) + "\n" for line in written), encoding="utf-8")


def rows(study: Study, query: str, *parameters: Any) -> list[tuple[Any, ...]]:
    """What the study answers."""
    with study.connection.cursor() as cursor:
        return cursor.execute(query, list(parameters)).fetchall()
