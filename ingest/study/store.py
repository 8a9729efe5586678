"""The study: one DuckDB file into which play logs are imported.

    with open_study("class.duckdb") as study:
        result = import_log(study, Path("console.playlog"))
        study.connection.execute("SELECT * FROM runs")

The bytes of a log are imported once: the same bytes again change nothing, and a file that has grown replaces its own
capture. Each import is one transaction, so that a study never holds half a log.
"""

import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
from importlib.resources import files
from pathlib import Path
from types import TracebackType

import duckdb
import numpy as np

from ingest.assembling.again import Before, ReadAgain, dictionaries_in
from ingest.assembling.said_of_runs import apply_sidecar
from ingest.capture.log_file import log_size, recognise, shown
from ingest.capture.sidecar import Sidecar, read_sidecar
from ingest.given_dictionary import Given, read_given
from ingest.said.withheld import withhold_again
from ingest.study.capture_counts import About, CaptureCounts, Notice
from ingest.study.copies import find_copies
from ingest.study.importing import Import
from ingest.study.settling import settle
from ingest.study.study_errors import StudyError, cannot_open, cannot_store
from ingest.study.tables import create_role_views
from ingest.study.writer import Writer
from ingest.vocabulary import EventRole

SCHEMA_VERSION = 1
INGEST_MEMORY_MB = 192
# Columns that came last before the first release, and their types: a study that lacks one is from before.
_NEWEST = frozenset(
    {
        ("builds", "build_key", "VARCHAR"),
        ("all_runs", "logged_player", "BIGINT"),
        ("lives", "inferred", "BOOLEAN"),
        ("notices", "what", "VARCHAR"),
        ("clock_stops", "at_us", "BIGINT"),
        ("power_ups", "lacks", "INTEGER"),
        ("built_roles", "roles", "VARCHAR"),
        ("twins", "shift_us", "BIGINT"),
        ("all_runs", "candidates", "VARCHAR"),
        ("testers", "found", "VARCHAR"),
        ("all_runs", "withheld", "BOOLEAN"),
    }
)
_CLOSE_TRIES = 200
_KEPT_BYTES = 16 << 20


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


class NoPacket(Exception):
    """Not one packet could be read in a file: it is no play log, or nothing but damage. The study was left as it was.

    `counts` says what was found instead. A recording that has only just begun is such a file too, until it has grown.
    """

    def __init__(self, file: str, counts: CaptureCounts):
        super().__init__(f"{file}: not one packet could be read")
        self.file, self.counts = file, counts


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
    Raises StudyBusy when another process holds it, StudyDamaged when it is damaged, and StudyError when it is no study
    of this version.
    """
    path = Path(path)
    if read_only and not path.exists():
        raise StudyError(f"{path}: there is no such study; make it with 'setscrew ingest --study {path} LOGS...'")
    if not path.parent.is_dir():
        raise StudyError(f"{path}: the folder {path.parent} does not exist; make it first")
    try:
        connection = duckdb.connect(str(path), read_only=read_only)
    except duckdb.Error as error:
        raise cannot_open(path, error) from None
    try:
        if memory_mb is not None:
            connection.execute(f"SET memory_limit = '{int(memory_mb)}MB'")
            connection.execute("SET threads = 1")
            # Row groups are compressed as they come, while the next events are read, and not in a bunch at the end.
            connection.execute("SET write_buffer_row_group_count = 1")
        _check_version(connection, path, read_only)
    except duckdb.Error as error:
        connection.close()
        raise cannot_open(path, error) from None
    except BaseException:
        connection.close()
        raise
    return Study(connection, path, read_only)


def _check_version(connection: duckdb.DuckDBPyConnection, path: Path, read_only: bool) -> None:
    tables = {row[0] for row in connection.execute("SELECT table_name FROM duckdb_tables()").fetchall()}
    if not tables and not read_only:
        connection.execute("BEGIN")
        connection.execute(files("ingest.study").joinpath("schema.sql").read_text(encoding="utf-8"))
        create_role_views(connection, EventRole)
        connection.execute("COMMIT")
        return
    if "study" not in tables:
        raise StudyError(f"{path}: a DuckDB file, but no study of Setscrew; name another file")
    version = connection.execute("SELECT max(schema_version) FROM study").fetchall()[0][0]
    if version != SCHEMA_VERSION:
        newer = version is not None and version > SCHEMA_VERSION
        remedy = "use a newer Setscrew" if newer else "ingest the play logs again into a new study file"
        raise StudyError(f"{path}: the study has schema version {version}, this Setscrew {SCHEMA_VERSION}; {remedy}")
    asked = "SELECT table_name, column_name, data_type FROM duckdb_columns()"
    if not _NEWEST.issubset(connection.execute(asked).fetchall()):
        raise StudyError(
            f"{path}: the study comes from a Setscrew that was never released; ingest the play logs again into a new "
            "study file"
        )


def import_log(
    study: Study, path: str | Path, progress: Callable[[int, int], None] | None = None, in_place_of: int | None = None
) -> ImportResult:
    """Imports the play log at `path` in one transaction, streamed; `progress` is told (bytes done, bytes in all).

    A dictionary laid beside the log is read in place of its own. A capture that holds the beginning of these bytes is
    replaced, also one of the same bytes where that dictionary is another than before or a role was corrected since, and
    so is `in_place_of`, whatever it holds.
    Raises OSError when the file or its sidecar cannot be read, NoPacket when there is no packet in it, CannotTakeIn
    when the disk is full or the study refuses it, and StudyDamaged. Whatever other bytes it holds are counted as
    damage.
    """
    path = Path(path)
    size = log_size(path)
    _keep_memory()
    try:
        with study.connection.cursor() as cursor:
            return _imported(cursor, path, size, progress, in_place_of)
    except duckdb.InterruptException:
        raise  # somebody broke it off: that is no fault of the log
    except duckdb.Error as error:
        raise cannot_store(shown(path), study.path, error) from error


def _imported(
    cursor: duckdb.DuckDBPyConnection,
    path: Path,
    size: int,
    progress: Callable[[int, int], None] | None,
    in_place_of: int | None,
) -> ImportResult:
    key, sha256, grown = recognise(cursor, path, size)
    if in_place_of is not None:
        grown = (in_place_of, -1)
    sidecar = read_sidecar(path)
    given = read_given(path)
    if (
        grown is not None
        and grown[1] == size
        and _same_reading(cursor, grown[0], given)
        and not _more_to_read(cursor, grown[0])
    ):
        _say_again(cursor, grown[0], shown(path.name), sidecar)
        return _result(cursor, path, Status.UNCHANGED, grown[0])
    before = Before()
    while True:
        try:
            cursor.execute("BEGIN")
            with Writer(cursor) as writer:
                replaced = None if grown is None else grown[0]
                one = Import(cursor, writer, path, size, key, sha256, replaced, sidecar, before, given)
                capture_id = one.run(progress)
                writer.wait()
            if sidecar is not None:
                apply_sidecar(cursor, capture_id, sidecar)
            find_copies(cursor, capture_id)
            withhold_again(cursor, capture_id)
            settle(cursor)
            result = _result(cursor, path, Status.NEW if grown is None else Status.GROWN, capture_id)
            if result.packets == 0:
                raise NoPacket(result.file, result)
            cursor.execute("COMMIT")
            return result
        except ReadAgain as again:
            cursor.execute("ROLLBACK")
            before = again.before
        except BaseException:
            # A commit that the disk refused has ended the transaction by itself: what is to be told is why.
            with suppress(duckdb.Error):
                cursor.execute("ROLLBACK")
            raise


def _same_reading(cursor: duckdb.DuckDBPyConnection, capture_id: int, given: Given | None) -> bool:
    """Whether a capture was read with the roles that hold now, and with the dictionary beside its log, if any."""
    behind = "SELECT 1 FROM built_roles WHERE capture_id = ? AND NOT current"
    if cursor.execute(behind, [capture_id]).fetchall():
        return False
    asked = "SELECT what FROM notices WHERE capture_id = ? AND about = ?"
    was = cursor.execute(asked, [capture_id, About.GIVEN.value]).fetchall()
    return was == ([] if given is None else [(given.notices[0].what,)])


def _more_to_read(cursor: duckdb.DuckDBPyConnection, capture_id: int) -> bool:
    """Whether the study knows a dictionary by now that a capture lacked when it was imported."""
    asked = "SELECT DISTINCT lacks FROM power_ups WHERE capture_id = ? AND lacks IS NOT NULL"
    lacked = {row[0] for row in cursor.execute(asked, [capture_id]).fetchall()}
    return bool(dictionaries_in(cursor, lacked))


def could_read_more(study: Study) -> dict[int, str]:
    """The captures that lack a dictionary which the study knows by now: number -> name. Their logs, imported again, are
    read further."""
    with study.connection.cursor() as cursor:
        asked = (
            "SELECT capture_id, any_value(name), list(DISTINCT lacks) FROM captures JOIN power_ups USING (capture_id) "
            "WHERE lacks IS NOT NULL GROUP BY capture_id ORDER BY capture_id"
        )
        lacking = cursor.execute(asked).fetchall()
        known = dictionaries_in(cursor, {id_ for _, _, ids in lacking for id_ in ids})
    return {number: name for number, name, ids in lacking if known.keys() & set(ids)}


def _keep_memory() -> None:
    """Makes glibc keep the memory of freed arrays for the next ones: that saves a twentieth of an import's time.

    By itself it returns every block above a limit to the system, which then zeroes the pages anew. The limit rises to
    the largest block that was ever freed. Elsewhere this does nothing.
    """
    np.empty(_KEPT_BYTES, np.uint8)


def _say_again(cursor: duckdb.DuckDBPyConnection, capture_id: int, name: str, sidecar: Sidecar | None) -> None:
    """What a log that the study holds already may bring: its sidecar, and of two names the one that comes first."""
    cursor.execute("BEGIN")
    try:
        cursor.execute("UPDATE captures SET name = ? WHERE capture_id = ? AND name > ?", [name, capture_id, name])
        if sidecar is not None:
            apply_sidecar(cursor, capture_id, sidecar)
        settle(cursor)
        cursor.execute("COMMIT")
    except BaseException:
        with suppress(duckdb.Error):
            cursor.execute("ROLLBACK")
        raise


def _result(cursor: duckdb.DuckDBPyConnection, path: Path, status: Status, capture_id: int) -> ImportResult:
    found = cursor.execute(
        """WITH own AS (SELECT * FROM all_runs WHERE capture_id = $capture AND NOT withheld)
           SELECT sha256, bytes, packets, events, rejected_packets, missing_packets, dropped_events, tail_bytes,
               unread_bytes, newer_packets, refusal,
               (SELECT count(*) FROM power_ups p WHERE p.capture_id = c.capture_id) AS power_ups,
               (SELECT count(*) FROM own) AS runs,
               (SELECT count(*) FROM own WHERE damaged) AS damaged_runs,
               (SELECT count(*) FROM own WHERE ending = 'cut') AS cut_runs,
               (SELECT count(*) FROM own WHERE begun <> 'seen') AS lost_starts,
               (SELECT count(*) FROM runs r WHERE r.capture_id = c.capture_id AND r.open) AS open_runs
           FROM captures c WHERE capture_id = $capture""",
        {"capture": capture_id},
    )
    names = [column[0] for column in found.description]
    row = dict(zip(names, found.fetchall()[0], strict=True))
    if row["refusal"] is not None and row["events"] == 0 and status != Status.UNCHANGED:
        status = Status.REFUSED
    told = cursor.execute(
        "SELECT about, byte_offset, what, remedy FROM notices WHERE capture_id = ? ORDER BY rowid", [capture_id]
    ).fetchall()
    notices = tuple(Notice(About(about), *rest) for about, *rest in told)
    return ImportResult(file=shown(path), status=status, capture_id=capture_id, notices=notices, **row)
