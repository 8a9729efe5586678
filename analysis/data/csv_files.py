"""The tables as CSV (RFC 4180), a file each, with the columns explained in one more."""

import csv
from collections.abc import Iterable, Sequence
from io import TextIOWrapper
from pathlib import Path
from typing import Any

import pandas as pd

from analysis.csv_cells import csv_cell
from analysis.data.declared_tables import TABLES, DataColumn, DataTable, Kind, explained


class CsvFiles:
    """Writes `runs.csv` and so on into a folder, lot by lot."""

    def __init__(self, folder: Path, about: Sequence[str], tags: bool):
        self.folder, self._tags = folder, tags
        self._file: TextIOWrapper | None = None
        (folder / "about.txt").write_text("\n".join(about) + "\n", encoding="utf-8")
        with _new(folder / "columns.csv") as file:
            csv.writer(file).writerows([[csv_cell(cell) for cell in row] for row in explained(tags)])

    @staticmethod
    def names() -> list[str]:
        """The files that it makes."""
        return ["about.txt", "columns.csv", *(f"{name}.csv" for name in TABLES)]

    def begin(self, table: DataTable) -> None:
        """A new table."""
        self._file = _new(self.folder / f"{table.name}.csv")
        self._columns = table.given(self._tags)
        self._writer = csv.writer(self._file)
        self._writer.writerow([column.name for column in self._columns])

    def add(self, part: pd.DataFrame) -> None:
        """Some rows of it."""
        cells = [_cells(part[column.name], column) for column in self._columns]
        self._writer.writerows(zip(*cells, strict=True))

    def end(self) -> None:
        """The table is whole."""
        if self._file is not None:
            self._file.close()
            self._file = None

    close = end


def _new(path: Path) -> TextIOWrapper:
    return path.open("w", encoding="utf-8", newline="")


def _cells(values: pd.Series, column: DataColumn) -> Iterable[Any]:
    missing = values.isna().tolist()
    plain = values.astype(object).tolist()
    if column.kind in (Kind.TEXT, Kind.YES_NO):
        return ["" if none else csv_cell(value) for value, none in zip(plain, missing, strict=True)]
    return ["" if none else value for value, none in zip(plain, missing, strict=True)]
