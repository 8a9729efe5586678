"""The one maker of HTML: the templates beside it, for the pages, the report and what is fetched. Every text is escaped
where it enters, so that nothing from a log can become markup.
"""

import re
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from analysis.words import capital, cell, counted
from dashboard.web.term_links import split

# A line never ends between a number and its unit.
_WITH_UNIT = re.compile(r"(?<!\w)([\d.,]+ (?:%|ms|s|px)(?!\w))")


def render(template: str, **given: Any) -> Markup:
    """A template of `templates/`, filled in. Raises jinja2.UndefinedError for a name that was not given."""
    return Markup(_templates().get_template(template).render(given))


def part(name: str, *given: Any, **named: Any) -> Markup:
    """One of the small parts that many pages have: a macro of `templates/parts.html`."""
    return Markup(getattr(_parts(), name)(*given, **named))


def prose(text: Any) -> Markup:
    """A text with what stands between backticks set as code, and numbers kept beside their units; HTML as it is."""
    if isinstance(text, Markup):
        return text
    pieces = str(text).split("`")
    return Markup("").join(
        Markup("<code>{}</code>").format(piece) if i % 2 else _unbroken(piece)
        for i, piece in enumerate(pieces)
        if piece
    )


def _unbroken(text: str) -> Markup:
    pieces = _WITH_UNIT.split(text)
    return Markup("").join(
        part("unbroken", piece) if i % 2 else _linked(piece) for i, piece in enumerate(pieces) if piece
    )


def _linked(text: str) -> Markup:
    """With links to what its terms mean, on a page that is being written (term_links.py)."""
    return Markup("").join(
        escape(piece) if address is None else part("link", piece, address, {"class": "term"})
        for piece, address in split(text)
        if piece
    )


@cache
def _templates() -> Environment:
    made = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        auto_reload=False,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    made.filters |= {"capital": capital, "cell": cell, "counted": counted, "prose": prose}
    return made


@cache
def _parts() -> Any:
    return _templates().get_template("parts.html").module
