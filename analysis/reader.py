"""The only reader of the study: asks the SQL files of queries/ and returns their columns."""

import hashlib
import itertools
import re
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import duckdb
import numpy as np

from analysis.selection import Selection

if TYPE_CHECKING:
    import pandas as pd

_QUERIES = Path(__file__).parent / "queries"
_PARAMETER = re.compile(r"\$(\w+)")
_OF_RUNS = re.compile(r"\b(?<=FROM |JOIN )runs\b")
# The in-memory database beside the study that holds all runs and the chosen ones of some selections, and names never
# used twice.
_BESIDE = "runs_kept"
_MOST_TABLES = 64
# DuckDB hands out rows in vectors of 2,048.
_VECTORS_IN_A_PART = 25
_numbers = itertools.count(1)


class Columns(dict[str, np.ndarray]):
    """A query's answer: name -> the column's values, all columns of one length.

    Texts are of numpy's type for text. NULL is NaN among numbers, and None among texts, which then are objects.
    """

    def where(self, chosen: np.ndarray) -> "Columns":
        """Some of the rows: by a truth value each, or by their places."""
        return Columns((name, column[chosen]) for name, column in self.items())

    @property
    def frame(self) -> "pd.DataFrame":
        """The same as a frame. pandas is read here and not before: commands that need no frame do without it."""
        import pandas as pd

        return pd.DataFrame(self)


class Asked(Protocol):
    """What a reader asks: a DuckDB connection, or what hands out cursors as one does."""

    def cursor(self) -> AbstractContextManager[Any]:
        """A cursor for one question, in a `with`."""


class Reader:
    """Reads one open study. Each question is one file of queries/; its name is the file's without `.sql`."""

    def __init__(self, connection: Asked):
        self._connection = connection

    def ask(self, query: str, **parameters: Any) -> Columns:
        """The columns that `query` answers with. A query over the whole study, not over a selection."""
        return self._columns(_sql(query), parameters)

    def ask_chosen(self, query: str, selection: Selection, **parameters: Any) -> Columns:
        """The columns that `query` answers with for the runs of `selection`, which it reads as the table `chosen`.

        It may also use the parameters $stage and $stage_kind (NULL: every stage).
        """
        return self._ask_of(_sql("chosen_runs"), query, selection, parameters)

    def in_parts(self, query: str, selection: Selection, **parameters: Any) -> "Iterator[pd.DataFrame]":
        """What `ask_chosen` answers with, as frames of some 50,000 rows: for answers larger than memory should hold.

        The study is held until the last of them was taken.
        """
        text, used = self._chosen_text(_sql("chosen_runs"), query, selection, parameters)
        with self._connection.cursor() as cursor:
            cursor.execute(text, used)
            while len(part := cursor.fetch_df_chunk(_VECTORS_IN_A_PART)):
                yield part

    def _ask_of(self, chosen: str, query: str, selection: Selection, parameters: Mapping[str, Any]) -> Columns:
        """What `query` answers with, where the SQL text `chosen` gives the chosen runs."""
        return self._columns(*self._chosen_text(chosen, query, selection, parameters))

    @staticmethod
    def _chosen_text(
        chosen: str, query: str, selection: Selection, parameters: Mapping[str, Any]
    ) -> tuple[str, dict[str, Any]]:
        """The question and the values that it uses."""
        text = f"WITH chosen AS MATERIALIZED (\n{chosen}\n)\n{_sql(query)}"
        own = {"stage": selection.stage, "stage_kind": selection.stage_kind} | dict(parameters)
        offered = selection.parameters() | own
        used = set(_PARAMETER.findall(text))
        return text, {name: value for name, value in offered.items() if name in used}

    def _columns(self, text: str, parameters: Mapping[str, Any]) -> Columns:
        # A cursor of its own: pages ask at the same time from several threads.
        with self._connection.cursor() as cursor:
            columns = cursor.execute(text, dict(parameters)).fetchnumpy()
            return Columns((name, _plain(column)) for name, column in columns.items())

    def fingerprint(self) -> str:
        """Twelve hex digits that change when the ingested bytes or the notes on runs change."""
        rows = self.ask("fingerprint")
        return hashlib.sha256("\n".join(rows["line"]).encode()).hexdigest()[:12]


class RememberingReader(Reader):
    """A reader that keeps its answers until it is told that the study changed: one question is asked by many findings.

    The runs, and the chosen ones of a selection, are kept too, as tables beside the study: most of the time of a small
    query goes into planning what they are. Answers cannot be written to, since others hold them too. `most_bytes`
    bounds what is kept; larger answers are given and not kept. Safe to use from several threads.
    """

    def __init__(self, connection: Asked, most_bytes: int = 64 * 1024 * 1024):
        super().__init__(connection)
        self._most_bytes = most_bytes
        self._kept: OrderedDict[object, tuple[Columns, int]] = OrderedDict()
        self._bytes = 0
        self._generation = 0
        self._lock = threading.Lock()
        self._tables: OrderedDict[Selection | None, str] = OrderedDict()
        self._tables_lock = threading.Lock()

    def forget(self) -> None:
        """To be called when the study has changed."""
        with self._lock:
            self._generation += 1
            self._kept.clear()
            self._bytes = 0
        with self._tables_lock:
            self._drop(len(self._tables))

    def ask(self, query: str, **parameters: Any) -> Columns:
        """As `Reader.ask`."""
        text, plain = _sql(query), super().ask
        if not _OF_RUNS.search(text):
            return plain(query, **parameters)
        return self._by_table(
            None, lambda table: self._columns(_OF_RUNS.sub(table, text), parameters), lambda: plain(query, **parameters)
        )

    def ask_chosen(self, query: str, selection: Selection, **parameters: Any) -> Columns:
        """As `Reader.ask_chosen`."""
        plain = super().ask_chosen
        return self._by_table(
            selection,
            lambda table: self._ask_of(f"TABLE {table}", query, selection, parameters),
            lambda: plain(query, selection, **parameters),
        )

    def _by_table(self, of: Selection | None, kept: Callable[[str], Columns], plain: Callable[[], Columns]) -> Columns:
        """What `kept` answers of a kept table, or else `plain` without one."""
        try:
            with self._tables_lock:
                table = self._table_of(of)
            return kept(table)
        except duckdb.CatalogException:
            # The study has changed meanwhile, or was closed and opened again: the tables are no more.
            with self._tables_lock:
                self._drop(len(self._tables))
            return plain()

    def _table_of(self, of: Selection | None) -> str:
        """The table that holds the runs of a selection, or all runs. With the lock."""
        table = self._tables.get(of)
        if table is None:
            table = f"{_BESIDE}.runs_{next(_numbers)}"
            if of is None:
                made, parameters = "TABLE runs", {}
            else:
                made, parameters = _OF_RUNS.sub(self._table_of(None), _sql("chosen_runs")), of.parameters()
            with self._connection.cursor() as cursor:
                cursor.execute(f"ATTACH IF NOT EXISTS ':memory:' AS {_BESIDE} (READ_WRITE)")
                cursor.execute(f"CREATE TABLE {table} AS {made}", parameters)
            self._tables[of] = table
            self._drop(len(self._tables) - _MOST_TABLES)
        self._tables.move_to_end(of)
        return table

    def _drop(self, count: int) -> None:
        for _ in range(count):
            table = self._tables.popitem(last=False)[1]
            with self._connection.cursor() as cursor:
                cursor.execute(f"DROP TABLE IF EXISTS {table}")

    def _columns(self, text: str, parameters: Mapping[str, Any]) -> Columns:
        plain = {n: v.tolist() if isinstance(v, np.ndarray) else v for n, v in parameters.items()}
        key = (text, repr(sorted(plain.items())))
        with self._lock:
            generation = self._generation
            if key in self._kept:
                self._kept.move_to_end(key)
                return Columns(self._kept[key][0])
        columns = super()._columns(text, parameters)
        size = 0
        for column in columns.values():
            column.flags.writeable = False
            # A text is an object of its own, of some sixty bytes.
            size += column.nbytes + (64 * column.size if column.dtype == object else 0)
        with self._lock:
            if generation == self._generation and key not in self._kept and size <= self._most_bytes // 4:
                self._kept[key] = (columns, size)
                self._bytes += size
                while self._bytes > self._most_bytes:
                    self._bytes -= self._kept.popitem(last=False)[1][1]
        return Columns(columns)


@cache
def _sql(query: str) -> str:
    return (_QUERIES / f"{query}.sql").read_text(encoding="utf-8")


def _plain(column: Any) -> np.ndarray:
    """NULLs become NaN in numbers and None in texts, so that no caller meets a masked array."""
    if not np.ma.is_masked(column):
        values = np.ma.getdata(column)
        # What a list of the query became stays one.
        return values.astype(str) if values.dtype == object and all(isinstance(v, str) for v in values[:1]) else values
    if column.dtype.kind in "iufb":
        return np.ma.filled(column.astype(float), np.nan)
    # Not filled(None): that means the default fill value, a question mark.
    texts = np.array(column.data, dtype=object)
    texts[np.ma.getmaskarray(column)] = None
    return texts
