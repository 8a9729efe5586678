"""HTML by hand: every text is escaped where it enters, so that nothing from a log can become markup."""

from collections.abc import Iterable
from html import escape

from markupsafe import Markup


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


def listed(items: Iterable[object]) -> Markup:
    """A bullet list."""
    return tag("ul", [tag("li", item) for item in items])
