"""One table for each kind of event under its own field names, and one view for each role over all of them."""

import re
from collections.abc import Iterable, Mapping

import duckdb
import numpy as np

from ingest.study.writer import Pile, Writer
from ingest.vocabulary import EventRole, FieldRole, FieldType
from ingest.wire.dictionary import Kind
from ingest.wire.records import Events

SQL_TYPES = {
    FieldType.U8: "UTINYINT",
    FieldType.I8: "TINYINT",
    FieldType.U16: "USMALLINT",
    FieldType.I16: "SMALLINT",
    FieldType.U32: "UINTEGER",
    FieldType.I32: "INTEGER",
}
_MOST_BUFFERED = 2_000_000
# Runs of equal numbers, and times that grow: named here, so that DuckDB need not try every compression on every row
# group, which took a quarter of the time of its inserts.
_EVERY_EVENT = ", ".join(
    f"{name} {type_} USING COMPRESSION {compression}"
    for name, type_, compression in (
        ("_power_up", "BIGINT", "rle"),
        ("_run", "BIGINT", "rle"),
        ("_stage", "BIGINT", "rle"),
        ("_at_us", "BIGINT", "bitpacking"),
    )
)
# Of the game's own fields. A byte that says where something is changes all the time: nothing would make it smaller.
_PLAIN = frozenset({FieldRole.X, FieldRole.Y})


def signature(kind: Kind) -> str:
    """What two kinds of one name must share to share a table: role, and the fields' names, types, roles and units."""
    fields = (f"{f.name} {f.type} {f.role or '-'} {f.unit or '-'}" for f in kind.fields)
    return f"{kind.role or '-'}; " + "; ".join(fields)


def slug(text: str) -> str:
    """`text` as part of a table's name: lower-case letters, digits and single underscores, never empty."""
    return re.sub(r"[^a-z0-9]+", "_", text.lower()[:40]).strip("_") or "game"


def create_event_table(cursor: duckdb.DuckDBPyConnection, name: str, kind: Kind) -> None:
    """Makes the table of a kind; the game's own names are quoted, and cannot start with an underscore as ours do."""
    own = "".join(
        f', "{f.name}" {SQL_TYPES[f.type]} USING COMPRESSION '
        + ("uncompressed" if f.type.width == 1 and f.role in _PLAIN else "bitpacking")
        for f in kind.fields
    )
    cursor.execute(f"CREATE TABLE {name} ({_EVERY_EVENT}{own})")


def create_role_views(cursor: duckdb.DuckDBPyConnection, roles: Iterable[EventRole]) -> None:
    """(Re)makes the view `<role>_events` of each of these roles, also of those that no game here uses."""
    tables: dict[str, dict[str, tuple[str, dict[str, str]]]] = {}  # role -> table -> kind, field role -> field
    rows = cursor.execute(
        """SELECT DISTINCT k.role, k.table_name, k.kind, f.role, f.field
           FROM kinds k LEFT JOIN fields f
             ON f.dictionary_id = k.dictionary_id AND f.kind = k.kind AND f.role IS NOT NULL
           WHERE k.role IS NOT NULL ORDER BY ALL"""
    ).fetchall()
    for role, table, kind, field_role, field in rows:
        _, columns = tables.setdefault(role, {}).setdefault(table, (kind, {}))
        if field_role is not None:
            columns[field_role] = field
    for role in roles:
        parts = [_part(table, kind, columns) for table, (kind, columns) in tables.get(role, {}).items()]
        cursor.execute(f"CREATE OR REPLACE VIEW {role}_events AS {' UNION ALL '.join(parts or [_part(None, '', {})])}")


def _part(table: str | None, kind: str, columns: Mapping[str, str]) -> str:
    own = ", ".join(
        f'e."{columns[role]}"::BIGINT AS "{role}"' if role in columns else f'NULL::BIGINT AS "{role}"'
        for role in FieldRole
    )
    # The name of a kind is a NAME of FORMAT.md: no quote can be in it.
    empty = "(SELECT 0::BIGINT AS _power_up, 0::BIGINT AS _run, 0::BIGINT AS _stage, 0::BIGINT AS _at_us WHERE false)"
    return (
        "SELECT e._power_up AS power_up_id, e._run AS run_id, e._stage AS stage_id, e._at_us AS at_us, "
        f"p.dictionary_id, '{kind}' AS kind, {own} "
        f"FROM {table or empty} e JOIN power_ups p ON p.power_up_id = e._power_up"
    )


class EventTables:
    """Writes the events of one capture into their tables, some hundred thousand rows at a time."""

    def __init__(self, writer: Writer):
        self._writer = writer
        self._piles: dict[str, Pile] = {}
        self._cost = 0  # of all piles

    def add(self, table: str, events: Events, power_up_id: int, run: np.ndarray, stage: np.ndarray) -> None:
        """`run` and `stage` are by the order of the batch; -1 stands for none."""
        pile = self._piles.get(table)
        if pile is None:
            pile = self._piles[table] = Pile(self._writer, table, ("_run", "_stage"))
        before = pile.cost
        pile.add(
            {
                "_power_up": np.broadcast_to(np.int64(power_up_id), len(events.order)),
                "_run": run[events.order],
                "_stage": stage[events.order],
                "_at_us": events.at_us,
            }
            | events.fields
        )
        self._cost += pile.cost - before
        if self._cost > _MOST_BUFFERED:
            self.flush()

    def flush(self) -> None:
        """Writes what is left; it is there after the writer's `wait`."""
        for pile in self._piles.values():
            pile.flush()
        self._cost = 0
