"""What all answers have in common: the same text for people everywhere, escaped HTML for notebooks, JSON values."""

import shutil
import textwrap
from collections.abc import Sequence
from html import escape
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

_MOST_ROWS = 20
_UNBROKEN = "\u00a0%"  # a line does not end between a number and its unit
_NARROWEST, _WIDEST, _LEAST_FIRST = 40, 100, 16


class Answer:
    """An answer prints as its command does. `missing`: why it does not answer what was asked, or ""."""

    missing: str = ""

    def to_json(self) -> dict[str, Any]:
        """The answer as plain JSON values, as `--json` prints it."""
        raise NotImplementedError

    def text(self) -> str:
        """The answer as its command prints it: what to know first, as wide as the terminal."""
        raise NotImplementedError

    def full_text(self) -> str:
        """The same with everything, as `--all` prints it."""
        return self.text()

    @property
    def frame(self) -> "pd.DataFrame":
        """The answer as a table."""
        raise NotImplementedError

    def __str__(self) -> str:
        return self.text()

    def __repr__(self) -> str:
        return self.text()

    def _repr_html_(self) -> str:
        """What a notebook shows. All texts are escaped: names come from logs."""
        return table_html(self.frame) + (f"<p>{escape(self.missing)}</p>" if self.missing else "")


def head(study: str, fingerprint: str, game: str | None = None) -> dict[str, Any]:
    """The first keys of every answer in JSON."""
    whole = {"setscrew": version("setscrew"), "study": study, "fingerprint": fingerprint}
    return whole if game is None else whole | {"game": game}


def methods_used(keys: Any) -> dict[str, Any]:
    """The methods behind an answer, each once, with their sources."""
    from analysis.methods import METHODS

    return {
        key: {"name": m.name, "text": m.text, "sources": [source.text for source in m.sources]}
        for key in dict.fromkeys(keys)
        if (m := METHODS.get(key)) is not None
    }


def wide() -> int:
    """How many characters a line of an answer has: as the terminal, within what can be read; 80 where there is none."""
    return min(max(shutil.get_terminal_size((80, 24)).columns, _NARROWEST), _WIDEST)


def lines_of(text: str, indent: str = "", first: str | None = None) -> list[str]:
    """A text as lines of an answer; `first` begins the first of them, `indent` the others."""
    begin = indent if first is None else first
    whole = text.replace(" %", _UNBROKEN)
    lines = textwrap.wrap(whole, wide(), initial_indent=begin, subsequent_indent=indent, break_on_hyphens=False)
    return [line.replace(_UNBROKEN, " %") for line in lines] or [begin.rstrip()]


def table_text(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """A table as lines: the first column takes what the others leave, and is wrapped; the others stand to the right."""
    sides = [max(len(row[i]) for row in [head, *rows]) for i in range(1, len(head))]
    room = max(wide() - sum(side + 2 for side in sides), _LEAST_FIRST)
    left = min(room, max(len(row[0]) for row in [head, *rows]))
    lines = []
    for row in [head, *rows]:
        *above, last = textwrap.wrap(row[0], left) or [""]
        lines += above
        cells = "".join(f"  {cell:>{side}}" for cell, side in zip(row[1:], sides, strict=True))
        lines.append(f"{last:<{left}}{cells}".rstrip())
    return lines


def table_html(frame: "pd.DataFrame") -> str:
    """The first rows of a frame as an HTML table, every text escaped."""
    shown = frame.head(_MOST_ROWS).to_html(index=False, border=0, escape=True, na_rep="–", float_format="{:.4g}".format)
    more = len(frame) - _MOST_ROWS
    return shown + (f"<p>and {more} more rows</p>" if more > 0 else "")
