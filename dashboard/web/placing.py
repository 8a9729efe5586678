"""What the templates made, on a page of Dash."""

from collections.abc import Mapping
from typing import Any

from dash import html
from markupsafe import Markup

from dashboard.web.html_tables import table


def placed(markup: Markup) -> html.Div:
    """HTML of the templates as a component; assets/figures.js puts it in. Raises TypeError for what may not be HTML."""
    if not isinstance(markup, Markup):
        raise TypeError(f"{type(markup).__name__} is not known to be HTML")
    return html.Div(className="placed", **{"data-html": str(markup)})


def placed_table(columns: Mapping[str, Any], caption: str) -> html.Div:
    """A table that scrolls by itself, on a page of Dash."""
    return placed(table(columns, caption, scrolls=True))
