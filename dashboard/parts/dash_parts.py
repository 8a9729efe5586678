"""Small parts of the pages of Dash: macros of the templates, placed on them."""

from typing import Any

from dash import html

from dashboard.web.placing import placed
from dashboard.web.templating import part


def unsaved(of: str) -> dict[str, Any]:
    """For a field: what is written in it and not kept yet is there again when its page is reloaded or come back to.

    By tab of the browser, for one study (assets/shell.js). of: what the field speaks of, such as a game; another has
    words of its own.
    """
    return {"persistence": of, "persistence_type": "session"} if of else {}


def field(label: str, control: Any, *beside: Any, kind: str = "") -> html.Div:
    """A field to fill in, under its label. kind: "grow" for one that takes the room there is."""
    return html.Div([html.Label(label, htmlFor=control.id), control, *beside], className=f"field {kind}".rstrip())


def graph(address: str, title: str) -> html.Div:
    """A place for the figure that the server gives at `address`; it is drawn when it comes into view, in the theme
    that the browser has then.
    """
    return placed(part("drawing", address, title))


def note(text: object, kind: str = "note") -> html.Div:
    """A line of text with a meaning: "note", "warning", "good", "caution", "saying"."""
    return placed(part("note", text, kind))


def served(address: str, label: str) -> html.Div:
    """A long table as the server's own HTML, fetched when it comes into view.

    Thousands of cells as Dash components would each listen to every change of the page.
    """
    return placed(part("served", address, label))
