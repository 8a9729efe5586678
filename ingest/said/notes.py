"""What people say about runs, players and targets: written beside the logs, never over them.

Every function takes an open, writable DuckDB connection and returns the moment of the note, which `take_back`
removes again. A run is named by its capture's key and its number there, so that notes outlive a rebuild
and a file's growth.
"""

from collections.abc import Sequence
from datetime import UTC, datetime

import duckdb

from ingest.said.roles import checked, follow
from ingest.study.settling import settle
from ingest.vocabulary import Recruitment

LONGEST_TEXT = 400

_TABLES = ("run_notes", "targets", "predictions", "report_words", "build_order", "role_notes", "testers")


def note_run(
    connection: duckdb.DuckDBPyConnection,
    capture_key: str,
    run_number: int,
    *,
    player: str | None = None,
    valid: bool | None = None,
    reason: str | None = None,
    remark: str | None = None,
) -> datetime:
    """Says something about one run; what is None stays as it was. A run marked not valid needs a reason.

    Raises ValueError when there is nothing to note or the reason is missing.
    """
    player, reason, remark = (_text(value) for value in (player, reason, remark))
    if valid is False and reason is None:
        raise ValueError("Say why the run is not valid; the reason is kept with the run.")
    if player is None and valid is None and remark is None:
        raise ValueError("There is nothing to note.")
    return _add(connection, "run_notes", [capture_key, run_number, None, player, valid, reason, remark], place=2)


def add_target(connection: duckdb.DuckDBPyConnection, game: str, target_toml: str) -> datetime:
    """Keeps a targets file for a game; the newest one holds."""
    return _add(connection, "targets", [None, game, target_toml], place=0)


def add_prediction(
    connection: duckdb.DuckDBPyConnection, game: str, build_label: str, fingerprint: str, prediction_json: str
) -> datetime:
    """Keeps what was predicted, so that the next playtest can be compared with it."""
    # Labels may change with the next log: what was predicted stays with the build.
    key = _keys(connection, game).get(build_label)
    values: list[object] = [None, game, build_label, fingerprint, prediction_json, key]
    return _add(connection, "predictions", values, place=0)


def note_order(connection: duckdb.DuckDBPyConnection, game: str, earlier: Sequence[str], later: str) -> datetime:
    """Says that the builds `earlier` (labels) of a game were played before the build `later`.

    Raises ValueError for a build that the game does not have, and where nothing is said.
    """
    keys = _keys(connection, game)
    for label in (*earlier, later):
        if label not in keys:
            raise ValueError(f"{game} has no build {label!r}; it has {', '.join(sorted(keys))}.")
    pairs = [(keys[label], keys[later]) for label in earlier if label != later]
    if not pairs:
        raise ValueError("Name two builds, one of which was played before the other.")
    cursor = connection.cursor()
    cursor.execute("BEGIN")
    try:
        moment = _moment(cursor, "build_order")
        for pair in pairs:
            cursor.execute("INSERT INTO build_order VALUES (?, ?, ?, ?)", [moment, game, *pair])
        settle(cursor)
        cursor.execute("COMMIT")
    except BaseException:
        cursor.execute("ROLLBACK")
        raise
    return moment


def _keys(connection: duckdb.DuckDBPyConnection, game: str) -> dict[str, str]:
    """The key of each build of a game, by its label."""
    asked = "SELECT label, build_key FROM builds WHERE game = ?"
    return dict(connection.cursor().execute(asked, [game]).fetchall())


def note_role(connection: duckdb.DuckDBPyConnection, game: str, what: str, name: str, role: str | None) -> datetime:
    """Says which role a game's kind, field (`kind.field`) or tunable really has; None or `-`: none. The study follows.

    Raises roles.BadRole for a name or role that there is not, or that cannot be.
    """
    cursor = connection.cursor()
    one = checked(cursor, game, what, name, role)
    cursor.execute("BEGIN")
    try:
        moment = _moment(cursor, "role_notes")
        cursor.execute("INSERT INTO role_notes VALUES (?, ?, ?, ?, ?)", [moment, game, one.what, one.name, one.role])
        follow(cursor, game)
        cursor.execute("COMMIT")
    except BaseException:
        cursor.execute("ROLLBACK")
        raise
    return moment


def add_words(connection: duckdb.DuckDBPyConnection, words_json: str) -> datetime:
    """Keeps what the authors of a report wrote themselves, as a JSON object; the newest one holds."""
    return _add(connection, "report_words", [None, words_json], place=0)


def note_testers(connection: duckdb.DuckDBPyConnection, found: str) -> datetime:
    """Says how the people who played were found; the newest word holds. Raises ValueError for any other word."""
    if found not in list(Recruitment):
        raise ValueError(f"say how the testers were found: {', '.join(Recruitment)}, not {found[:20]!r}")
    return _add(connection, "testers", [None, str(found)], place=0)


def take_back(connection: duckdb.DuckDBPyConnection, table: str, noted_at: datetime) -> None:
    """Undoes one note. Raises KeyError for a table that holds no notes."""
    if table not in _TABLES:
        raise KeyError(table)
    cursor = connection.cursor()
    cursor.execute("BEGIN")
    try:
        games = []
        if table == "role_notes":
            games = cursor.execute("SELECT game FROM role_notes WHERE noted_at = ?", [noted_at]).fetchall()
        cursor.execute(f"DELETE FROM {table} WHERE noted_at = ?", [noted_at])
        for (game,) in games:
            follow(cursor, game)
        if table == "build_order":
            settle(cursor)
        cursor.execute("COMMIT")
    except BaseException:
        cursor.execute("ROLLBACK")
        raise


def _add(connection: duckdb.DuckDBPyConnection, table: str, values: list[object], place: int) -> datetime:
    cursor = connection.cursor()
    values[place] = _moment(cursor, table)
    cursor.execute(f"INSERT INTO {table} VALUES ({', '.join('?' * len(values))})", values)
    return values[place]  # type: ignore[return-value]


def _moment(cursor: duckdb.DuckDBPyConnection, table: str) -> datetime:
    """Now. Notes are told apart and ordered by their moment: two within one tick of the clock must not share it."""
    now = datetime.now(UTC).replace(tzinfo=None)
    newest: datetime | None = cursor.execute(f"SELECT max(noted_at) + INTERVAL 1 MICROSECOND FROM {table}").fetchall()[
        0
    ][0]
    return now if newest is None or now > newest else newest


def _text(value: str | None) -> str | None:
    """`value` trimmed to one line of bounded length, or None when nothing is left."""
    words = " ".join(value.split())[:LONGEST_TEXT] if value else ""
    return words or None
