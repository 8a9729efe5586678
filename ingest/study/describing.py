"""What the events of a study mean: its dictionaries, the tables of their kinds, and its builds."""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import chain, count

import duckdb

from ingest.assembling.one_run import Values
from ingest.said.roles import corrected, corrections
from ingest.study.tables import create_event_table, create_role_views, signature, slug
from ingest.study.writer import Writer
from ingest.vocabulary import EventRole
from ingest.wire.dictionary import Dictionary, Tunable
from ingest.wire.records import RecordReader

# New builds of one log, and values of tunables in all builds that it brings or uses. A playtest has some hundred.
MOST_BUILDS = 4000
MOST_VALUES = 250_000
_ROWS_AT_ONCE = 5000


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
        self._roles: set[EventRole] = set()  # whose views are to be made anew
        self._builds: dict[int, dict[bytes, int]] = {}  # by dictionary and values
        self._new: dict[str, list[tuple[object, ...]]] = {"builds": [], "tunables": []}  # rows
        self._taken: set[int] | None = None  # ids of builds; None: not asked yet
        self._last: tuple[Dictionary, Values, int] | None = None  # the build that was asked for last
        self._built = 0  # new builds
        self._values = 0  # of tunables, in all builds that are known here
        self.full = False

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
            "fields", [(dictionary_id, kind.name, n, f.name, f.type.value, f.role, f.unit) for kind, n, f in fields]
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
        self._roles |= d.event_roles
        return tables

    def finish(self) -> None:
        """Writes what is left, and makes the views of the roles for which there are new tables.

        Once a log: a view names all of its tables.
        """
        self._flush()
        self._writer.wait()
        create_role_views(self._cursor, sorted(self._roles))
        self._roles = set()

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
                name = next(n for n in chain([base], (f"{base}_{i}" for i in count(2))) if n not in signatures)
                create_event_table(self._cursor, f'events."{name}"', kind)
                quoted = own.replace("'", "''")
                self._cursor.execute(f"COMMENT ON TABLE events.\"{name}\" IS '{quoted}'")
                signatures[name] = own
            found.append(f'events."{name}"')
        return found

    def build(self, dictionary: Dictionary, values: Values) -> int:
        """The id of a build, made of its dictionary and values. It has no label yet: `settle` gives it one.

        More than MOST_BUILDS new ones, or MOST_VALUES values of tunables, are not kept: further runs count as of a
        build whose values are not known, and `full` says so.
        """
        if self._last is not None and self._last[0] is dictionary and self._last[1] == values:
            return self._last[2]
        described = self.of(dictionary)
        known = self._builds_of(described.number)
        key = _key(values)
        if key not in known and (self._built >= MOST_BUILDS or self._values + len(values) > MOST_VALUES):
            self.full = True
            values = (None,) * len(values)
            key = _key(values)
        if key not in known:
            known[key] = self._new_build(described, values)
            self._values += len(values)
            self._built += 1
        self._last = dictionary, values, known[key]
        return known[key]

    def _builds_of(self, dictionary_id: int) -> dict[bytes, int]:
        """The builds of a dictionary by their values; those of the study are looked up once."""
        if dictionary_id not in self._builds:
            self._writer.wait()
            found = self._cursor.execute(
                "SELECT build_id, list(t.value ORDER BY t.number) FILTER (t.number IS NOT NULL) FROM builds b "
                "LEFT JOIN tunables t USING (build_id) WHERE b.dictionary_id = ? GROUP BY build_id",
                [dictionary_id],
            )
            known: dict[bytes, int] = {}
            while some := found.fetchmany(1000):
                for build_id, values in some:
                    known[_key(values or ())] = build_id
                    self._values += len(values or ())
            self._builds[dictionary_id] = known
        return self._builds[dictionary_id]

    def _new_build(self, described: Described, values: Values) -> int:
        dictionary = described.dictionary
        if self._taken is None:
            self._writer.wait()
            self._taken = {row[0] for row in self._cursor.execute("SELECT build_id FROM builds").fetchall()}
        key = hashlib.sha256(described.logged.text + repr(values).encode()).hexdigest()
        build_id = int(key[:13], 16)
        while build_id in self._taken:
            build_id += 1  # one pair of builds in 10^15
        self._taken.add(build_id)
        self._new["builds"].append((build_id, key, described.number, dictionary.game, dictionary.firmware, None, None))
        self._new["tunables"] += [
            (
                build_id,
                n,
                t.name,
                t.role,
                value,
                *_range(t, value),
                t.unit,
                *(t.scope.get(key) for key in ("stage", "stage_kind", "song", "level", "grade")),
            )
            for n, (t, value) in enumerate(zip(dictionary.tunables, values, strict=True))
        ]
        if max(map(len, self._new.values())) > _ROWS_AT_ONCE:
            self._flush()
        return build_id

    def _flush(self) -> None:
        for table, rows in self._new.items():
            self._writer.rows(table, rows)
            self._new[table] = []


def _key(values: Iterable[int | None]) -> bytes:
    """What stands for the values of a build: 255 numbers would take kilobytes for each of them."""
    return hashlib.blake2b(repr(tuple(values)).encode(), digest_size=16).digest()


def _range(tunable: Tunable, value: int | None) -> tuple[int | None, int | None, int | None]:
    """Least, greatest and step; without a range its own value alone is allowed."""
    return (value, value, 1) if tunable.low is None else (tunable.low, tunable.high, tunable.step)


def next_id(cursor: duckdb.DuckDBPyConnection, table: str, column: str) -> int:
    """One more than the largest id in a column of a table."""
    rows = cursor.execute(f"SELECT coalesce(max({column}), 0) + 1 FROM {table}").fetchall()
    return int(rows[0][0])
