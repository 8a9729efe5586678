"""What all answers have in common: the same text for people everywhere, escaped HTML for notebooks, JSON values."""

from html import escape
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

_MOST_ROWS = 20


class Answer:
    """An answer prints as its command does. `missing`: why it does not answer what was asked, or ""."""

    missing: str = ""

    def to_json(self) -> dict[str, Any]:
        """The answer as plain JSON values, as `--json` prints it."""
        raise NotImplementedError

    def text(self) -> str:
        """The answer as its command prints it."""
        raise NotImplementedError

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


def table_html(frame: "pd.DataFrame") -> str:
    """The first rows of a frame as an HTML table, every text escaped."""
    shown = frame.head(_MOST_ROWS).to_html(index=False, border=0, escape=True, na_rep="–", float_format="{:.4g}".format)
    more = len(frame) - _MOST_ROWS
    return shown + (f"<p>and {more} more rows</p>" if more > 0 else "")
