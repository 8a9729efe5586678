"""The only reader of the study: asks the SQL files of queries/ and returns their columns."""

import hashlib
import itertools
import re
import threading
from collections import OrderedDict
from collections.abc import Iterator, Mapping
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
# The in-memory database beside the study that holds the chosen runs of some selections, and names never used twice.
_BESIDE = "chosen_runs_kept"
_MOST_SELECTIONS = 64
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

    The chosen runs of a selection are kept too, as a table beside the study: most of the time of a small query goes
    into planning what they are. Answers cannot be written to, since others hold them too. `most_bytes` bounds what is
    kept; larger answers are given and not kept. Safe to use from several threads.
    """

    def __init__(self, connection: Asked, most_bytes: int = 64 * 1024 * 1024):
        super().__init__(connection)
        self._most_bytes = most_bytes
        self._kept: OrderedDict[object, tuple[Columns, int]] = OrderedDict()
        self._bytes = 0
        self._generation = 0
        self._lock = threading.Lock()
        self._chosen: OrderedDict[Selection, str] = OrderedDict()
        self._chosen_lock = threading.Lock()

    def forget(self) -> None:
        """To be called when the study has changed."""
        with self._lock:
            self._generation += 1
            self._kept.clear()
            self._bytes = 0
        with self._chosen_lock:
            self._drop(len(self._chosen))

    def ask_chosen(self, query: str, selection: Selection, **parameters: Any) -> Columns:
        """As `Reader.ask_chosen`."""
        table = self._table_of(selection)
        try:
            return self._ask_of(f"TABLE {table}", query, selection, parameters)
        except duckdb.CatalogException:
            # The study has changed meanwhile, or was closed and opened again: the table is no more.
            with self._chosen_lock:
                if self._chosen.get(selection) == table:
                    del self._chosen[selection]
            return super().ask_chosen(query, selection, **parameters)

    def _table_of(self, selection: Selection) -> str:
        """The table that holds the runs of `selection`."""
        with self._chosen_lock:
            table = self._chosen.get(selection)
            if table is None:
                table = f"{_BESIDE}.runs_{next(_numbers)}"
                with self._connection.cursor() as cursor:
                    cursor.execute(f"ATTACH IF NOT EXISTS ':memory:' AS {_BESIDE} (READ_WRITE)")
                    cursor.execute(f"CREATE TABLE {table} AS {_sql('chosen_runs')}", selection.parameters())
                self._chosen[selection] = table
                self._drop(len(self._chosen) - _MOST_SELECTIONS)
            self._chosen.move_to_end(selection)
            return table

    def _drop(self, count: int) -> None:
        for _ in range(count):
            table = self._chosen.popitem(last=False)[1]
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
