"""Components as HTML text, for what is only read: a browser shows text ten times sooner than it builds components."""

from html import escape
from typing import Any

from dash.development.base_component import Component
from markupsafe import Markup

_NAMES = {"className": "class", "htmlFor": "for", "key": "data-key", "tabIndex": "tabindex"}
_EMPTY = frozenset({"Br", "Hr", "Img", "Input"})


def to_html(part: Any) -> str:
    """A component, a text, a number, or a list of such, as HTML; None is nothing. Every text is escaped.

    Raises TypeError for a component that is not of dash.html: it would need its script.
    """
    if part is None:
        return ""
    if isinstance(part, Markup):
        return part
    if isinstance(part, (list, tuple)):
        return "".join(map(to_html, part))
    if not isinstance(part, Component):
        return escape(str(part), quote=False)
    told = part.to_plotly_json()
    if told["namespace"] != "dash_html_components":
        raise TypeError(f"{told['type']} cannot be written as HTML")
    properties = dict(told["props"])
    inside = to_html(properties.pop("children", None))
    name = told["type"].lower()
    words = "".join(_attribute(str(_NAMES.get(key, key)), value) for key, value in properties.items())
    return f"<{name}{words}>" if told["type"] in _EMPTY else f"<{name}{words}>{inside}</{name}>"


def _attribute(name: str, value: Any) -> str:
    if value is None or value is False:
        return ""
    return f" {name}" if value is True else f' {name}="{escape(str(value))}"'
