"""Small parts of the pages of Dash. Pages that are only read have theirs from the templates."""

from typing import Any

from dash import html


def graph(address: str, title: str) -> html.Div:
    """A place for the figure that the server gives at `address`; it is drawn when it comes into view, in the theme
    that the browser has then.
    """
    return html.Div(
        role="img",
        className="drawing",
        **{"data-figure": address, "aria-label": f"Figure: {title}. Its numbers are in the table below it."},
    )


def prose(text: Any) -> Any:
    """A text with what stands between backticks set as code; anything else as it is."""
    if not isinstance(text, str) or "`" not in text:
        return text
    return [html.Code(part) if i % 2 else part for i, part in enumerate(text.split("`")) if part]


def note(text: str, kind: str = "note") -> html.P:
    """A line of text with a meaning: "note", "warning", "good", "caution"."""
    return html.P(prose(text), className=kind)


def served(address: str, label: str) -> html.Div:
    """A long table as the server's own HTML, fetched when it comes into view.

    Thousands of cells as Dash components would each listen to every change of the page.
    """
    return html.Div(
        className="table served", tabIndex="0", role="region", **{"data-source": address, "aria-label": label}
    )
