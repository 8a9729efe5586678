"""HTML by hand: every text is escaped where it enters, so that nothing from a log can become markup."""

from collections.abc import Iterable, Mapping
from html import escape
from typing import Any

from analysis.words import cell
from dashboard.exports import rows


class Markup(str):
    """Text that is HTML already; everything else is escaped."""

    __slots__ = ()


def tag(name: str, *children: object, **attributes: str) -> Markup:
    """An element. `class_` stands for `class`."""
    words = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(value)}"' for key, value in attributes.items()
    )
    return Markup(f"<{name}{words}>{text(*children)}</{name}>")


def text(*children: object) -> Markup:
    """Children one after the other: Markup as it is, lists and tuples in turn, None as nothing, the rest escaped."""
    out: list[str] = []
    for child in children:
        if isinstance(child, Markup):
            out.append(child)
        elif isinstance(child, (list, tuple)):
            out.append(text(*child))
        elif child is not None:
            out.append(escape(str(child)))
    return Markup("".join(out))


def table(columns: Mapping[str, Any], caption: object = None, most: int = 60) -> Markup:
    """A table of columns; numbers stand right."""
    lines = list(rows(columns))
    numeric = [all(not isinstance(line[i], str) for line in lines) for i, _ in enumerate(columns)]
    side = [{"class_": "num"} if right else {} for right in numeric]
    head = [
        tag("th", name.replace("_", " "), scope="col", **s) for name, s in zip(columns, side, strict=True)
    ]
    body = [
        tag("tr", [tag("td", cell(c), **(s or _long(c))) for c, s in zip(line, side, strict=True)])
        for line in lines[:most]
    ]
    left_out = len(lines) - most
    note = tag("p", f"The first {most} of {len(lines)} rows; the CSV file has all of them.", class_="small")
    parts = [tag("caption", caption) if caption else None, tag("thead", tag("tr", head)), tag("tbody", body)]
    return text(tag("div", tag("table", parts), class_="table"), note if left_out > 0 else None)


def _long(cell: object) -> dict[str, str]:
    """Words without a space that are wider than a column may be broken anywhere."""
    return {"class_": "long"} if len(max(str(cell).split(), key=len, default="")) > 32 else {}


def listed(items: Iterable[object]) -> Markup:
    """A bullet list."""
    return tag("ul", [tag("li", item) for item in items])
