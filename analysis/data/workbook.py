"""The tables as one Excel workbook (Office Open XML): a sheet a table with units, and one that explains the columns."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from analysis.data.declared_tables import DataColumn, DataTable, Kind, explained

if TYPE_CHECKING:
    from xlsxwriter.worksheet import Worksheet

# Source: "Excel specifications and limits" (support.microsoft.com): 1,048,576 rows a sheet, 32,767 characters a cell.
MOST_ROWS = 1_048_576
_MOST_CHARACTERS = 32_767
_NARROWEST, _WIDEST = 9, 60


class Workbook:
    """Writes `NAME.xlsx`, lot by lot, with no more than a row in memory. Texts are texts, whatever they begin with."""

    def __init__(self, path: Path, about: Sequence[str], tags: bool):
        import xlsxwriter

        self._tags = tags
        told = {name: False for name in ("strings_to_formulas", "strings_to_numbers", "strings_to_urls")}
        self._book = xlsxwriter.Workbook(str(path), told | {"constant_memory": True, "tmpdir": str(path.parent)})
        self._bold = self._book.add_format({"bold": True})
        sheet = self._book.add_worksheet("about")
        sheet.set_column(0, 0, _WIDEST * 2)
        for at, line in enumerate(about):
            _text(sheet, at, 0, line)
        rows = explained(tags)
        sheet = self._sheet("columns", rows[0], [12, 20, 20, 8, 10, _WIDEST * 2])
        for at, row in enumerate(rows[1:], 1):
            for column, cell in enumerate(row):
                _text(sheet, at, column, cell)

    def begin(self, table: DataTable) -> None:
        """A new table, on a sheet of its name."""
        self._table, self._columns, self._sheets = table, table.given(self._tags), 0
        self._new_sheet()

    def add(self, part: pd.DataFrame) -> None:
        """Some rows of it. A table that is too long for a sheet goes on on the next."""
        writers = [_WRITERS[column.kind] for column in self._columns]
        cells = [_plain(part[column.name]) for column in self._columns]
        for row in zip(*cells, strict=True):
            if self._row == MOST_ROWS:
                self._end_sheet()
                self._new_sheet()
            for at, value in enumerate(row):
                if value is not None:
                    writers[at](self._on, self._row, at, value)
            self._row += 1

    def end(self) -> None:
        """The table is whole."""
        self._end_sheet()

    def close(self) -> None:
        """Writes the file."""
        from xlsxwriter.exceptions import FileCreateError

        try:
            self._book.close()
        except FileCreateError as error:
            raise OSError(None, str(error)) from error

    def _new_sheet(self) -> None:
        self._sheets += 1
        name = self._table.name if self._sheets == 1 else f"{self._table.name} {self._sheets}"
        widths = [_width(column) for column in self._columns]
        self._on, self._row = self._sheet(name, [column.heading for column in self._columns], widths), 1

    def _end_sheet(self) -> None:
        self._on.autofilter(0, 0, max(self._row - 1, 1), len(self._columns) - 1)

    def _sheet(self, name: str, headings: Sequence[str], widths: Sequence[int]) -> "Worksheet":
        sheet = self._book.add_worksheet(name)
        for at, (heading, width) in enumerate(zip(headings, widths, strict=True)):
            sheet.set_column(at, at, width)
            sheet.write_string(0, at, heading, self._bold)
        sheet.freeze_panes(1, 0)
        return sheet


def _width(column: DataColumn) -> int:
    return max(_NARROWEST, len(column.heading) + 3, 18 if column.kind is Kind.ID else 0)


def _plain(values: pd.Series) -> list[Any]:
    return [None if none else value for value, none in zip(values.tolist(), values.isna().tolist(), strict=True)]


def _text(sheet: "Worksheet", row: int, column: int, value: Any) -> None:
    text = str(value)
    sheet.write_string(row, column, text if len(text) <= _MOST_CHARACTERS else text[: _MOST_CHARACTERS - 1] + "…")


def _number(sheet: "Worksheet", row: int, column: int, value: Any) -> None:
    sheet.write_number(row, column, value)


def _yes_no(sheet: "Worksheet", row: int, column: int, value: Any) -> None:
    sheet.write_boolean(row, column, value)


# A spreadsheet keeps 15 digits of a number; what only names something goes as a text.
_WRITERS: dict[Kind, Callable[["Worksheet", int, int, Any], None]] = {
    Kind.TEXT: _text,
    Kind.ID: _text,
    Kind.WHOLE: _number,
    Kind.NUMBER: _number,
    Kind.YES_NO: _yes_no,
}
