"""What the events of a study mean: its dictionaries, the tables of their kinds, and its builds."""

import hashlib
from dataclasses import dataclass
from itertools import chain, count

import duckdb

from ingest.dictionary import Dictionary, Tunable
from ingest.play import Values
from ingest.records import RecordReader
from ingest.roles import corrected, corrections
from ingest.tables import create_event_table, create_role_views, signature, slug
from ingest.writer import Writer


@dataclass(frozen=True)
class Described:
    """A dictionary of the study: as it was logged, and with the roles that hold; its number, reader and tables."""

    logged: Dictionary
    dictionary: Dictionary
    number: int
    reader: RecordReader
    tables: list[str]


class Describer:
    """Finds or makes the rows and tables of the dictionaries and builds of one log.

    Asks with the writer's cursor, after its `wait`.
    """

    def __init__(self, cursor: duckdb.DuckDBPyConnection, writer: Writer):
        self._cursor, self._writer = cursor, writer
        self._described: dict[int, Described] = {}  # by the identity of either dictionary
        self._builds: dict[tuple[int, Values], int] = {}

    @property
    def met(self) -> list[Described]:
        """What was asked for so far, in the order in which it was met."""
        return list({one.number: one for one in self._described.values()}.values())

    def of(self, dictionary: Dictionary) -> Described:
        """What the study knows of a dictionary; its rows and tables are made when it is met first."""
        known = self._described.get(id(dictionary))
        if known is not None:
            return known
        self._writer.wait()
        q = self._cursor.execute
        text = dictionary.text.decode()
        held = corrected(dictionary, [one for _, one in corrections(self._cursor, dictionary.game)])
        found = q("SELECT dictionary_id FROM dictionaries WHERE dictionary_text = ?", [text]).fetchall()
        if found:
            number = found[0][0]
            asked = "SELECT table_name FROM kinds WHERE dictionary_id = ? ORDER BY number"
            tables = [row[0] for row in q(asked, [number]).fetchall()]
        else:
            number = next_id(self._cursor, "dictionaries", "dictionary_id")
            tables = self._describe(number, dictionary, held, text)
        # The dictionaries themselves are kept too, so that their identity cannot be given to others.
        known = Described(dictionary, held, number, RecordReader(held), tables)
        self._described[id(dictionary)] = self._described[id(held)] = known
        return known

    def _describe(self, dictionary_id: int, logged: Dictionary, d: Dictionary, text: str) -> list[str]:
        # A role that is corrected later does not move events into another table.
        tables = self._event_tables(logged)
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

    def _event_tables(self, dictionary: Dictionary) -> list[str]:
        """The table of each kind: that of the same game, kind and signature if there is one, otherwise a new one."""
        # The signature is the comment on the table: no column of the schema is needed for it.
        asked = "SELECT table_name, comment FROM duckdb_tables() WHERE schema_name = 'events'"
        signatures = dict(self._cursor.execute(asked).fetchall())
        names = {own: name for name, own in signatures.items()}
        found = []
        for kind in dictionary.kinds:
            own = f"{dictionary.game}\n{kind.name}\n{signature(kind)}"
            name = names.get(own)
            if name is None:
                base = f"{slug(dictionary.game)}__{kind.name}"
                name = next(
                    n for n in chain([base], (f"{base}_{i}" for i in count(2))) if n not in signatures
                )
                create_event_table(self._cursor, f'events."{name}"', kind)
                quoted = own.replace("'", "''")
                self._cursor.execute(f"COMMENT ON TABLE events.\"{name}\" IS '{quoted}'")
                signatures[name] = own
            found.append(f'events."{name}"')
        return found

    def build(self, dictionary: Dictionary, values: Values) -> int:
        """The id of a build, made of its dictionary and values. It has no label yet: `settle` gives it one."""
        described = self.of(dictionary)
        dictionary_id = described.number
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
            key = hashlib.sha256(described.logged.text + repr(values).encode()).hexdigest()
            build_id = int(key[:13], 16)
            while q("SELECT 1 FROM builds WHERE build_id = ?", [build_id]).fetchall():
                build_id += 1  # one pair of builds in 10^15
            self._writer.rows(
                "builds",
                [(build_id, key, dictionary_id, dictionary.game, dictionary.firmware, None, None)],
            )
            self._writer.rows(
                "tunables",
                [
                    (build_id, n, t.name, t.role, value, *_range(t, value), t.unit,
                     *(t.scope.get(key) for key in ("stage", "stage_kind", "song", "level", "grade")))
                    for n, (t, value) in enumerate(zip(described.dictionary.tunables, values, strict=True))
                ],
            )  # fmt: skip
            self._builds[dictionary_id, values] = build_id
        return self._builds[dictionary_id, values]


def _range(tunable: Tunable, value: int | None) -> tuple[int | None, int | None, int | None]:
    """Least, greatest and step; without a range its own value alone is allowed."""
    return (value, value, 1) if tunable.low is None else (tunable.low, tunable.high, tunable.step)


def next_id(cursor: duckdb.DuckDBPyConnection, table: str, column: str) -> int:
    """One more than the largest id in a column of a table."""
    rows = cursor.execute(f"SELECT coalesce(max({column}), 0) + 1 FROM {table}").fetchall()
    return int(rows[0][0])
