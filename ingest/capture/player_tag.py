"""Player tags: the anonymous codes P01, P02, ... that stand for people. Never a name."""

import re

_TAG = re.compile(r"[Pp]?0*([0-9]{1,3})", re.ASCII)
HIGHEST = 255  # what the field of a log holds in one byte


class BadTag(ValueError):
    """Not a player tag; the message says what one looks like."""


def player_tag(text: str) -> str:
    """The tag that `text` means, as P01: "p1", "P001" and "1" are the same.

    Raises BadTag for all else, names above all.
    """
    found = _TAG.fullmatch(text.strip())
    number = int(found[1]) if found else 0
    if not 1 <= number <= HIGHEST:
        raise BadTag(
            f"{text.strip()[:20]!r} is no player tag. Tags are P01 to P{HIGHEST}; keep names out of the "
            "data, and the list of who is who on paper."
        )
    return f"P{number:02d}"
