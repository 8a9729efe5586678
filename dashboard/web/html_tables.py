"""The one maker of tables as HTML: a frame or columns in, a table out whose numbers stand right."""

from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import Markup

from analysis.words import cell
from dashboard.report.exports import rows
from dashboard.web.templating import part

# Letters of a word that may be broken anywhere, for it is wider than a column.
_LONGEST_WORD = 32


def table(
    columns: Mapping[str, Any],
    caption: object = "",
    most: int | None = None,
    marks: Sequence[Mapping[str, str]] = (),
    scrolls: bool = False,
) -> Markup:
    """A table of a pandas frame, or of columns of equal length, whose cells may be HTML (Markup).

    most: rows shown; below them stands how many there are. marks: attributes of each row, where any has some.
    scrolls: it scrolls by itself, with the keyboard too; not where what stands around it does.
    """
    lines = list(rows(columns))
    sides = ["num" if _are_numbers([line[i] for line in lines]) else "" for i, _ in enumerate(columns)]
    shown = lines[:most]
    body = [
        (mark, [(cell_of(one), side or _long(one)) for one, side in zip(line, sides, strict=True)])
        for line, mark in zip(shown, marks or [{}] * len(shown), strict=False)
    ]
    head = [(str(name).replace("_", " "), side) for name, side in zip(columns, sides, strict=True)]
    return part("table", head, body, caption, len(lines), len(shown), scrolls)


def cell_of(value: Any) -> str:
    """What stands in a cell: HTML as it is, anything else in words, with no break before a per cent sign."""
    return value if isinstance(value, Markup) else cell(value).replace(" %", "\u00a0%")


def _are_numbers(column: Sequence[Any]) -> bool:
    return all(value is None or (isinstance(value, (int, float)) and not isinstance(value, bool)) for value in column)


def _long(value: Any) -> str:
    wide = not isinstance(value, Markup) and len(max(str(value).split(), key=len, default="")) > _LONGEST_WORD
    return "long" if wide else ""
