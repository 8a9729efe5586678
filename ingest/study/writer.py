"""Writes to the study in a thread of its own, so that reading the next events does not wait for the last ones."""

from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from types import TracebackType

import duckdb
import numpy as np

Columns = dict[str, np.ndarray]
# Two row groups of DuckDB: each statement costs a millisecond, and more rows at once gain nothing.
_ROWS_AT_ONCE = 2 * 122_880
# A writer with nothing to do takes less, so that less is left for the end, when nothing is read beside.
_ROWS_FOR_THE_IDLE = 30_000
# What an array costs beyond its numbers, as rows; and how much of all may be piled up for one table.
_PART = 100
_MOST_COST = 4 * _ROWS_AT_ONCE
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

    def columns(self, table: str, arrived: Columns) -> None:
        """Appends rows, given as columns of these names; what is masked becomes NULL."""
        self._submit(lambda: self._insert(table, arrived))

    @property
    def idle(self) -> bool:
        """Whether it has nothing to write just now."""
        return all(work.done() for work in self._waiting)

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

    def _insert(self, table: str, arrived: Columns) -> None:
        # DuckDB finds the variable by its name. A registered table would be kept until the transaction ends, and with
        # it the memory of every batch: measured, 1.6 GB for 50 million events.
        self._cursor.execute(f"INSERT INTO {table} BY NAME FROM arrived")


def _joined(parts: list[np.ndarray]) -> np.ndarray:
    # Only numpy's own way for masked arrays keeps masks; it is slower.
    masked = any(isinstance(part, np.ma.MaskedArray) for part in parts)
    return np.ma.concatenate(parts) if masked else np.concatenate(parts)


class Pile:
    """Rows for one table that are kept until it pays to write them. In the columns `none`, -1 stands for NULL."""

    def __init__(self, writer: Writer, table: str, none: Sequence[str]):
        self._writer = writer
        self._table, self._none = table, none
        self._parts: list[Columns] = []
        self.rows = 0
        self.cost = 0  # in rows: a part takes memory of its own, however few rows it has

    def add(self, columns: Columns) -> None:
        """Takes columns of the same length and, each time, of the same names and types."""
        self._parts.append(columns)
        rows = len(next(iter(columns.values())))
        self.rows += rows
        self.cost += rows + _PART
        if (
            self.cost >= _MOST_COST
            or self.rows >= _ROWS_AT_ONCE
            or (self.rows >= _ROWS_FOR_THE_IDLE and self._writer.idle)
        ):
            self.flush()

    def flush(self) -> None:
        """Writes what is there; it is in the table after the writer's `wait`."""
        if not self.rows:
            return
        arrived = {name: _joined([part[name] for part in self._parts]) for name in self._parts[0]}
        for name in self._none:
            none = arrived[name] == -1
            if none.any():
                arrived[name] = np.ma.masked_array(arrived[name], none)
        self._writer.columns(self._table, arrived)
        self._parts, self.rows, self.cost = [], 0, 0
