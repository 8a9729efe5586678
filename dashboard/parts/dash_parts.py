"""Small parts of the pages of Dash: macros of the templates, placed on them."""

from dash import html

from dashboard.web.placing import placed
from dashboard.web.templating import part


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
