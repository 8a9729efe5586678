"""The study: one DuckDB file into which play logs are imported.

    with open_study("class.duckdb") as study:
        result = import_log(study, Path("console.playlog"))
        study.connection.execute("SELECT * FROM runs")

The bytes of a log are imported once: the same bytes again change nothing, and a file that has grown replaces its own
capture. Each import is one transaction, so that a study never holds half a log.
"""

import hashlib
import re
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from importlib.resources import files
from itertools import chain, count
from pathlib import Path
from types import TracebackType

import duckdb
import numpy as np

from ingest.assembly import Assembler
from ingest.capture_counts import CaptureCounts
from ingest.clock import drift_ppm
from ingest.dictionary import Dictionary
from ingest.framing import Damage, Framer
from ingest.places import Places
from ingest.play import Ids, Values
from ingest.records import RecordReader, microseconds
from ingest.removal import remove_capture
from ingest.session import Harm, PowerUp, Session
from ingest.sidecar import Said, Sidecar, bind_tags, read_sidecar, remarks_of_runs
from ingest.tables import EventTables, create_event_table, create_role_views, signature, slug
from ingest.vocabulary import EventRole
from ingest.writer import Writer

SCHEMA_VERSION = 1
CHUNK_BYTES = 700_000
MOST_DAMAGE_ROWS = 1000
INGEST_MEMORY_MB = 192
KEY_BYTES = 4096
_ROWS_AT_ONCE = 5000
_CLOSE_TRIES = 200
_CLOCK_EVERY = 1024
_KEPT_BYTES = 16 << 20


class StudyError(Exception):
    """The file cannot be used as a study; the message says why and what to do."""


class StudyBusy(StudyError):
    """Another process holds the study."""


class Status(StrEnum):
    """What an import did."""

    NEW = "new"
    UNCHANGED = "unchanged"
    GROWN = "grown"
    REFUSED = "refused"  # kept as a capture, but its dictionary could not be used


@dataclass(frozen=True, kw_only=True)
class ImportResult(CaptureCounts):
    """What one log brought. Counts are of the whole capture, as its row in `captures`."""

    file: str
    status: Status
    capture_id: int
    sha256: str


class Study:
    """An open study. Close it, or use it in a `with`. Threads ask through `connection.cursor()`, each its own."""

    def __init__(self, connection: duckdb.DuckDBPyConnection, path: Path, read_only: bool):
        self.connection = connection
        self.path = path
        self.read_only = read_only

    def close(self) -> None:
        """Closes the study; a call that another thread is in the midst of is broken off first."""
        for _ in range(_CLOSE_TRIES):
            try:
                return self.connection.close()
            except duckdb.ResourceInUseException:
                # Seen: refused, and yet closed a moment later.
                with suppress(duckdb.ConnectionException):
                    self.connection.interrupt()
                time.sleep(0.05)
        self.connection.close()

    def __enter__(self) -> "Study":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def open_study(path: str | Path, read_only: bool = False, memory_mb: int | None = None) -> Study:
    """Opens the study at `path`, which is made if there is none (unless `read_only`).

    `memory_mb` is for processes that only import: it bounds what DuckDB may keep in memory (INGEST_MEMORY_MB is enough
    for logs of any size) and leaves it one thread, which writes more tightly than several. Without it, DuckDB may have
    most of the machine, as findings on large studies want it.
    Raises StudyBusy when another process holds it, and StudyError when it is no study of this version.
    """
    path = Path(path)
    if read_only and not path.exists():
        raise StudyError(
            f"{path}: there is no such study; make it with 'setscrew ingest --study {path} LOGS...'"
        )
    if not path.parent.is_dir():
        raise StudyError(f"{path}: the folder {path.parent} does not exist; make it first")
    try:
        connection = duckdb.connect(str(path), read_only=read_only)
    except duckdb.Error as error:
        raise _cannot_open(path, error) from None
    try:
        if memory_mb is not None:
            connection.execute(f"SET memory_limit = '{int(memory_mb)}MB'")
            connection.execute("SET threads = 1")
        _check_version(connection, path, read_only)
    except BaseException:
        connection.close()
        raise
    return Study(connection, path, read_only)


def _cannot_open(path: Path, error: duckdb.Error) -> StudyError:
    text = str(error)
    if "lock" in text.lower() or "used by another process" in text.lower():
        holder = re.search(r"held in (.*?) \(PID (\d+)\)|PID:? ?(\d+)", text)
        who = "another process"
        if holder is not None:
            who = f"process {holder[2] or holder[3]}" + (f" ({Path(holder[1]).name})" if holder[1] else "")
        return StudyBusy(
            f"{path}: {who} holds this study. Close it first (a dashboard that is open holds its study, and can "
            "ingest by itself), or use another study file."
        )
    return StudyError(f"{path}: this is no study ({text.splitlines()[0][:200]}); name another file")


def _check_version(connection: duckdb.DuckDBPyConnection, path: Path, read_only: bool) -> None:
    tables = {row[0] for row in connection.execute("SELECT table_name FROM duckdb_tables()").fetchall()}
    if not tables and not read_only:
        connection.execute("BEGIN")
        connection.execute(files("ingest").joinpath("schema.sql").read_text(encoding="utf-8"))
        create_role_views(connection, EventRole)
        connection.execute("COMMIT")
        return
    if "study" not in tables:
        raise StudyError(f"{path}: a DuckDB file, but no study of Setscrew; name another file")
    version = connection.execute("SELECT max(schema_version) FROM study").fetchall()[0][0]
    if version != SCHEMA_VERSION:
        newer = version is not None and version > SCHEMA_VERSION
        remedy = "use a newer Setscrew" if newer else "ingest the play logs again into a new study file"
        raise StudyError(
            f"{path}: the study has schema version {version}, this Setscrew {SCHEMA_VERSION}; {remedy}"
        )
    if "places" not in tables:
        raise StudyError(
            f"{path}: the study comes from a Setscrew that was never released; ingest the play logs again into a new "
            "study file"
        )


def import_log(
    study: Study,
    path: str | Path,
    progress: Callable[[int, int], None] | None = None,
    in_place_of: int | None = None,
) -> ImportResult:
    """Imports the play log at `path` in one transaction, streamed; `progress` is told (bytes done, bytes in all).

    A capture that holds the beginning of these bytes is replaced, and so is `in_place_of`, whatever it holds.
    Raises OSError when the file cannot be read. Whatever bytes it holds, they are counted as events or as damage.
    """
    path = Path(path)
    size = path.stat().st_size
    _keep_memory()
    cursor = study.connection.cursor()
    try:
        key, sha256, grown = _recognise(cursor, path, size)
        if in_place_of is not None:
            grown = (in_place_of, -1)
        sidecar = read_sidecar(path)
        if grown is not None and grown[1] == size:
            if sidecar is not None:
                _apply_said(cursor, grown[0], sidecar.said)
            return _result(cursor, str(path), Status.UNCHANGED, grown[0])
        cursor.execute("BEGIN")
        try:
            replaced = None if grown is None else grown[0]
            with Writer(cursor) as writer:
                capture_id = _Import(cursor, writer, path, size, key, sha256, replaced, sidecar).run(progress)
                writer.wait()
            if sidecar is not None:
                _apply_said(cursor, capture_id, sidecar.said)
            cursor.execute("COMMIT")
        except BaseException:
            cursor.execute("ROLLBACK")
            raise
        result = _result(cursor, str(path), Status.NEW if grown is None else Status.GROWN, capture_id)
        return result
    finally:
        cursor.close()


def _keep_memory() -> None:
    """Makes glibc keep the memory of freed arrays for the next ones: that saves a twentieth of an import's time.

    By itself it returns every block above a limit to the system, which then zeroes the pages anew. The limit rises to
    the largest block that was ever freed. Elsewhere this does nothing.
    """
    np.empty(_KEPT_BYTES, np.uint8)


def _recognise(
    cursor: duckdb.DuckDBPyConnection, path: Path, size: int
) -> tuple[str, str, tuple[int, int] | None]:
    """The file's key and SHA-256, and the capture (id, bytes) that holds its bytes or their beginning."""
    by_length: dict[int, dict[str, int]] = {}
    for capture_id, sha256, length in cursor.execute(
        "SELECT capture_id, sha256, bytes FROM captures WHERE bytes <= ?", [size]
    ).fetchall():
        by_length.setdefault(length, {})[sha256] = capture_id
    digest = hashlib.sha256()
    key = ""
    grown = None
    done = 0
    with path.open("rb") as log:
        for stop in sorted({min(KEY_BYTES, size), size, *by_length}):
            for chunk in _chunks(log, stop - done):
                digest.update(chunk)
                done += len(chunk)
            known = by_length.get(stop, {}).get(digest.hexdigest())
            # Nothing is the beginning of everything: an empty file only matches an empty one.
            if known is not None and (stop > 0 or size == 0):
                grown = (known, stop)
            if stop == min(KEY_BYTES, size):
                key = digest.hexdigest()
    return key, digest.hexdigest(), grown


def _chunks(log, size: int) -> Iterator[bytes]:  # type: ignore[no-untyped-def]
    while size > 0:
        chunk = log.read(min(size, CHUNK_BYTES))
        if not chunk:
            return
        size -= len(chunk)
        yield chunk


@dataclass
class _Counts:
    packets: int = 0
    events: int = 0
    rejected: int = 0
    missing: int = 0
    dropped: int = 0
    newer: int = 0
    unread: int = 0
    unread_at: int = 0
    damage_rows: int = 0


class _Import:
    """One log on its way into the study, within a transaction that the caller began."""

    def __init__(
        self, cursor: duckdb.DuckDBPyConnection, writer: Writer, path: Path, size: int, key: str, sha256: str,
        replaced: int | None, sidecar: Sidecar | None,
    ):  # fmt: skip
        self._cursor, self._writer = cursor, writer
        self._path, self._size, self._key, self._sha256 = path, size, key, sha256
        self._sidecar = sidecar
        self._last_us: dict[int, int] = {}  # of the last event of each power-up
        self._counts = _Counts()
        others = "SELECT 1 FROM captures WHERE capture_key = ? AND capture_id IS DISTINCT FROM ?"
        if cursor.execute(others, [key, replaced]).fetchall():
            self._key = sha256  # another capture begins with the same 4 KiB: notes must not mix the two up
        old_runs: list[int] = []
        if replaced is not None:
            old_runs = self._replace(replaced)
        self._capture_id = replaced if replaced is not None else self._next("captures", "capture_id")
        ids = Ids(
            chain(old_runs, count(self._next("all_runs", "run_id"))),
            self._next("stages", "stage_id"), self._next("lives", "life_id"),
        )  # fmt: skip
        if old_runs:
            # The rows are gone, but their ids are still spoken for.
            ids.runs = chain(old_runs, count(max(self._next("all_runs", "run_id"), max(old_runs) + 1)))
        self._first_power_up = self._next("power_ups", "power_up_id")
        self._assembler = Assembler(self._capture_id, ids, self._build)
        self._tables = EventTables(writer)
        self._places = Places(writer)
        self._dictionaries: dict[int, tuple[Dictionary, int, RecordReader, list[str]]] = {}
        self._power_up_dictionary: dict[int, int] = {}
        self._builds: dict[tuple[int, Values], int] = {}
        self._ended: list[tuple[object, ...]] = []  # rows of power_ups

    def run(self, progress: Callable[[int, int], None] | None) -> int:
        framer, session = Framer(), Session(clock_every=0 if self._sidecar is None else _CLOCK_EVERY)
        done = 0
        with self._path.open("rb") as log:
            for chunk in _chunks(log, self._size):
                packets = framer.feed(chunk)
                self._counts.packets += len(packets.start)
                harm = [
                    Harm(offset, reason)
                    for offset, reason in zip(packets.bad_offset.tolist(), packets.bad_reason, strict=True)
                ]
                spans, more, ended = session.feed(packets)
                self._damage(harm + more)
                for span in spans:
                    self._take(span)
                self._power_ups(ended)
                if len(packets.offset) and not session.holding:
                    self._assembler.followed(int(packets.offset[-1]))
                self._insert_rows()
                done += len(chunk)
                if progress is not None:
                    progress(done, self._size)
        harm, ended = session.end()
        self._damage(harm)
        self._assembler.end()
        self._places.take(None, None, self._assembler.scopes, self._assembler.taken_back)
        self._power_ups(ended)
        self._tables.flush()
        self._places.flush()
        if self._counts.unread:
            unread = (self._capture_id, self._counts.unread_at, Damage.UNREAD.value, self._counts.unread)
            self._writer.rows("damage", [unread])
        self._insert_rows(at_least=0)
        self._writer.wait()
        tail = framer.tail_bytes
        c = self._counts
        received = _received(self._path, self._sidecar)
        self._cursor.execute(
            "INSERT INTO captures VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [self._capture_id, self._key, self._sha256, self._path.name, self._size,
             datetime.now(UTC).replace(tzinfo=None), received, c.packets, c.events, c.rejected, c.missing, c.dropped,
             tail, session.unread_bytes, c.newer, session.refusal],
        )  # fmt: skip
        return self._capture_id

    def _next(self, table: str, column: str) -> int:
        rows = self._cursor.execute(f"SELECT coalesce(max({column}), 0) + 1 FROM {table}").fetchall()
        return int(rows[0][0])

    def _replace(self, capture_id: int) -> list[int]:
        """Makes way for the longer log of a capture; returns the ids of its runs in their order."""
        self._cursor.execute(
            "UPDATE run_notes SET capture_key = $key WHERE capture_key = "
            "(SELECT capture_key FROM captures WHERE capture_id = $capture)",
            {"key": self._key, "capture": capture_id},
        )
        return remove_capture(self._cursor, capture_id)

    def _damage(self, harm: list[Harm]) -> None:
        c = self._counts
        for one in harm:
            if one.reason == Damage.DROPPED:
                c.dropped += one.count
            elif one.reason == Damage.GAP:
                c.missing += one.count
            elif one.reason == Damage.VERSION:
                c.newer += one.count
            elif one.reason == Damage.UNREAD:
                # How often this is told depends on how the log was cut; one row says it all.
                c.unread_at = min(c.unread_at, one.offset) if c.unread else one.offset
                c.unread += one.count
            else:
                c.rejected += one.count
        self._assembler.damage(one.offset for one in harm)
        rows = [one for one in harm if one.reason != Damage.UNREAD][: MOST_DAMAGE_ROWS - c.damage_rows]
        c.damage_rows += len(rows)
        self._writer.rows("damage", [(self._capture_id, h.offset, h.reason.value, h.count) for h in rows])

    def _take(self, span) -> None:  # type: ignore[no-untyped-def]
        dictionary_id, reader, tables = self._dictionary(span.dictionary)
        self._power_up_dictionary[span.power_up.number] = dictionary_id
        power_up_id = self._first_power_up + span.power_up.number
        batch = reader.read(span.data, span.start, span.length, span.tick, span.offset)
        if len(batch.bad):
            self._damage([Harm(int(span.offset[i]), Damage.BODY) for i in batch.bad.tolist()])
        self._counts.events += len(batch.tick)
        if len(batch.tick):
            self._last_us[span.power_up.number] = microseconds(int(batch.tick[-1]), span.dictionary.clock_hz)
        run, stage = self._assembler.take(span.power_up, power_up_id, span.dictionary, batch)
        self._places.take(span.dictionary, batch, self._assembler.scopes, self._assembler.taken_back)
        for events in batch.by_kind:
            self._tables.add(tables[events.kind], events, power_up_id, run, stage)

    def _power_ups(self, ended: list[PowerUp]) -> None:
        rows = []
        for up in ended:
            dictionary_id = self._power_up_dictionary.pop(up.number, None)
            first = last = drift = None
            if dictionary_id is not None:
                clock_hz = next(
                    d.clock_hz for d, id_, *_ in self._dictionaries.values() if id_ == dictionary_id
                )
                first, last = (microseconds(tick, clock_hz) for tick in (up.first_tick, up.last_tick))
                last = max(last, self._last_us.pop(up.number, last))
                drift = self._drift(up, clock_hz)
            power_up_id = self._first_power_up + up.number
            rows.append(
                (power_up_id, self._capture_id, up.number + 1, up.nonce, dictionary_id, first, last, drift)
            )
        self._ended += rows

    def _drift(self, up: PowerUp, clock_hz: int) -> float | None:
        if self._sidecar is None or not self._sidecar.arrivals or not up.clock:
            return None
        arrivals = np.array(self._sidecar.arrivals)
        offset, tick = (np.concatenate(column) for column in zip(*up.clock, strict=True))
        return drift_ppm(arrivals[:, 0], arrivals[:, 1], offset, tick / clock_hz)

    def _insert_rows(self, at_least: int = _ROWS_AT_ONCE) -> None:
        if len(self._ended) >= at_least:
            self._writer.rows("power_ups", self._ended)
            self._ended = []
        rows = self._assembler.rows
        for table in ("all_runs", "stages", "lives", "spells"):
            ready = getattr(rows, table)
            if len(ready) >= at_least:
                self._writer.rows(table, ready)
                setattr(rows, table, [])

    def _dictionary(self, dictionary: Dictionary) -> tuple[int, RecordReader, list[str]]:
        """Id, reader and table names of a dictionary; its rows and tables are made when it is met first."""
        known = self._dictionaries.get(id(dictionary))
        if known is not None:
            return known[1:]
        self._writer.wait()
        q = self._cursor.execute
        text = dictionary.text.decode()
        found = q("SELECT dictionary_id FROM dictionaries WHERE dictionary_text = ?", [text]).fetchall()
        if found:
            dictionary_id = found[0][0]
            tables = [
                row[0]
                for row in q(
                    "SELECT table_name FROM kinds WHERE dictionary_id = ? ORDER BY number", [dictionary_id]
                ).fetchall()
            ]
        else:
            dictionary_id = self._next("dictionaries", "dictionary_id")
            tables = self._describe(dictionary_id, dictionary, text)
        # The dictionary itself is kept too, so that its identity cannot be given to another.
        known = (dictionary, dictionary_id, RecordReader(dictionary), tables)
        self._dictionaries[id(dictionary)] = known
        return known[1:]

    def _describe(self, dictionary_id: int, dictionary: Dictionary, text: str) -> list[str]:
        d = dictionary
        tables = [self._event_table(d, number) for number in range(len(d.kinds))]
        self._writer.rows(
            "dictionaries", [(dictionary_id, d.game, d.firmware, d.clock_hz, d.screen[0], d.screen[1], text)]
        )
        self._writer.rows(
            "kinds", [(dictionary_id, n, kind.name, kind.role, tables[n]) for n, kind in enumerate(d.kinds)]
        )
        fields = [(kind, n, f) for kind in d.kinds for n, f in enumerate(kind.fields)]
        self._writer.rows(
            "fields",
            [(dictionary_id, kind.name, n, f.name, f.type.value, f.role, f.unit) for kind, n, f in fields],
        )
        self._writer.rows(
            "labels",
            [
                (dictionary_id, kind.name, f.name, value, label)
                for kind, _, f in fields
                for value, label in f.labels.items()
            ],
        )
        self._writer.wait()
        create_role_views(self._cursor, d.event_roles)
        return tables

    def _event_table(self, dictionary: Dictionary, number: int) -> str:
        """The table of a kind: that of the same game, kind and signature if there is one, otherwise a new one."""
        kind = dictionary.kinds[number]
        q = self._cursor.execute
        # The signature is the comment on the table: no column of the schema is needed for it.
        own = f"{dictionary.game}\n{kind.name}\n{signature(kind)}"
        found = q("SELECT table_name FROM duckdb_tables() WHERE comment = ?", [own]).fetchall()
        if found:
            return f'events."{found[0][0]}"'
        base = f"{slug(dictionary.game)}__{kind.name}"
        taken = {
            row[0]
            for row in q("SELECT table_name FROM duckdb_tables() WHERE schema_name = 'events'").fetchall()
        }
        name = next(n for n in chain([base], (f"{base}_{i}" for i in count(2))) if n not in taken)
        create_event_table(self._cursor, f'events."{name}"', kind)
        quoted = own.replace("'", "''")
        q(f"COMMENT ON TABLE events.\"{name}\" IS '{quoted}'")
        return f'events."{name}"'

    def _build(self, dictionary: Dictionary, values: Values) -> int:
        """The id of a build. A new one gets its label: the firmware, and a letter where there are others."""
        dictionary_id = self._dictionary(dictionary)[0]
        known = self._builds.get((dictionary_id, values))
        if known is not None:
            return known
        self._writer.wait()
        q = self._cursor.execute
        for build_id, *had in q(
            "SELECT build_id, list(t.value ORDER BY t.number) FILTER (t.number IS NOT NULL) FROM builds b "
            "LEFT JOIN tunables t USING (build_id) WHERE b.dictionary_id = ? GROUP BY build_id", [dictionary_id],
        ).fetchall():  # fmt: skip
            self._builds[dictionary_id, tuple(had[0] or ())] = build_id
        if (dictionary_id, values) not in self._builds:
            build_id = self._next("builds", "build_id")
            labels = {
                row[0] for row in q("SELECT label FROM builds WHERE game = ?", [dictionary.game]).fetchall()
            }
            label = next(text for text in _labels(dictionary.firmware) if text not in labels)
            self._writer.rows(
                "builds", [(build_id, dictionary_id, dictionary.game, dictionary.firmware, label)]
            )
            self._writer.rows(
                "tunables",
                [
                    (build_id, n, t.name, t.role, value, t.low, t.high, t.step, t.unit,
                     *(t.scope.get(key) for key in ("stage", "stage_kind", "song", "level", "grade")))
                    for n, (t, value) in enumerate(zip(dictionary.tunables, values, strict=True))
                ],
            )  # fmt: skip
            self._builds[dictionary_id, values] = build_id
        return self._builds[dictionary_id, values]


def _received(path: Path, sidecar: Sidecar | None) -> datetime:
    """When the recording began, in UTC; without a sidecar, when the file was last written."""
    if sidecar is not None and sidecar.started is not None:
        try:
            started = datetime.fromisoformat(sidecar.started)
        except ValueError:
            pass
        else:
            return (started.astimezone(UTC) if started.tzinfo else started).replace(tzinfo=None)
    return datetime.fromtimestamp(path.stat().st_mtime, UTC).replace(tzinfo=None)


def _apply_said(cursor: duckdb.DuckDBPyConnection, capture_id: int, said: Sequence[Said]) -> None:
    """Gives the runs of a capture the tags and remarks of its sidecar, where they differ from what they have."""
    runs = cursor.execute(
        "SELECT run_id, start_byte, given_player, given_remark FROM all_runs WHERE capture_id = ? ORDER BY number",
        [capture_id],
    ).fetchall()
    starts = [start for _, start, _, _ in runs]
    tags, remarks = bind_tags(said, starts).players, remarks_of_runs(said, starts)
    for (run_id, _, player, remark), tag, spoken in zip(runs, tags, remarks, strict=True):
        text = "; ".join(spoken) or None
        if (player, remark) != (tag, text):
            cursor.execute(
                "UPDATE all_runs SET given_player = ?, given_remark = ? WHERE run_id = ?", [tag, text, run_id]
            )


def _labels(firmware: str) -> Iterator[str]:
    yield firmware
    for number in count(1):
        letters, rest = "", number
        while rest >= 0:
            letters = chr(ord("a") + rest % 26) + letters
            rest = rest // 26 - 1
        yield f"{firmware} {letters}"


def _result(cursor: duckdb.DuckDBPyConnection, file: str, status: Status, capture_id: int) -> ImportResult:
    found = cursor.execute(
        """SELECT sha256, bytes, packets, events, rejected_packets, missing_packets, dropped_events, tail_bytes,
               unread_bytes, newer_packets, refusal,
               (SELECT count(*) FROM power_ups p WHERE p.capture_id = c.capture_id) AS power_ups,
               (SELECT count(*) FROM all_runs r WHERE r.capture_id = c.capture_id) AS runs,
               (SELECT count(*) FROM all_runs r WHERE r.capture_id = c.capture_id AND damaged) AS damaged_runs,
               (SELECT count(*) FROM all_runs r WHERE r.capture_id = c.capture_id AND ending = 'cut') AS cut_runs
           FROM captures c WHERE capture_id = ?""", [capture_id],
    )  # fmt: skip
    names = [column[0] for column in found.description]
    row = dict(zip(names, found.fetchall()[0], strict=True))
    if row["refusal"] is not None and row["events"] == 0 and status != Status.UNCHANGED:
        status = Status.REFUSED
    return ImportResult(file=file, status=status, capture_id=capture_id, **row)
