"""Writes to the study in a thread of its own, so that reading the next events does not wait for the last ones."""

from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from types import TracebackType

import duckdb
import numpy as np

Columns = dict[str, np.ndarray]
# A whole row group of DuckDB: written like this it is compressed once, and not again when the file is closed.
ROWS_AT_ONCE = 122_880
# Batches that may wait: what bounds the memory of an import whose disk is slow.
_MOST_WAITING = 4


class Writer:
    """Inserts in the order in which it was told. Its cursor belongs to it; others may use it only after `wait`."""

    def __init__(self, cursor: duckdb.DuckDBPyConnection):
        self._cursor = cursor
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="study writer")
        self._waiting: deque[Future[None]] = deque()

    def __enter__(self) -> "Writer":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._thread.shutdown(wait=True, cancel_futures=kind is not None)

    def rows(self, table: str, rows: Sequence[Sequence[object]]) -> None:
        """Appends rows, given in the order of the table's columns."""
        if rows:
            self._submit(lambda: self._append(table, rows))

    def columns(self, insert: str, parts: Sequence[Columns]) -> None:
        """Executes `insert`, which reads the parts, put together, as the table `arrived`."""
        self._submit(lambda: self._insert(insert, parts))

    def wait(self) -> None:
        """Returns when everything is written; raises what went wrong."""
        while self._waiting:
            self._waiting.popleft().result()

    def _submit(self, work: Callable[[], None]) -> None:
        while len(self._waiting) >= _MOST_WAITING:
            self._waiting.popleft().result()
        self._waiting.append(self._thread.submit(work))

    def _append(self, table: str, rows: Sequence[Sequence[object]]) -> None:
        with self._cursor.appender(table) as appender:
            appender.append_rows(rows)

    def _insert(self, insert: str, parts: Sequence[dict[str, np.ndarray]]) -> None:
        # DuckDB finds the variable by its name. A registered table would be kept until the transaction ends, and with
        # it the memory of every batch: measured, 1.6 GB for 50 million events.
        arrived = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}  # noqa: F841
        self._cursor.execute(insert)


class Pile:
    """Rows for one table that are kept until there is a whole row group of them. `insert` reads them as `arrived`."""

    def __init__(self, writer: Writer, insert: str):
        self._writer = writer
        self._insert = insert
        self._parts: list[Columns] = []
        self.rows = 0

    def add(self, columns: Columns) -> None:
        """Takes columns of the same length and, each time, of the same names and types."""
        rows = len(next(iter(columns.values())))
        while rows >= (room := ROWS_AT_ONCE - self.rows):
            self._parts.append({name: column[:room] for name, column in columns.items()})
            self.flush()
            columns = {name: column[room:] for name, column in columns.items()}
            rows -= room
        if rows:
            self._parts.append(columns)
            self.rows += rows

    def flush(self) -> None:
        """Writes what is there; it is in the table after the writer's `wait`."""
        if self._parts:
            self._writer.columns(self._insert, self._parts)
            self._parts, self.rows = [], 0
