"""What a page of Dash says, without a browser."""

from typing import Any


def written(part: Any) -> str:
    """The texts of a component and of all in it, one after the other; of what the templates made, its HTML."""
    if part is None:
        return ""
    if isinstance(part, (list, tuple)):
        return "".join(map(written, part))
    if not hasattr(part, "to_plotly_json"):
        return str(part)
    given = part.to_plotly_json()["props"]
    return given.get("data-html", "") + written(given.get("children"))
