"""The words of a dictionary: names, roles, numbers and texts, each understood or refused (FORMAT.md, section 4)."""

import re
from typing import Any

I32 = (-(1 << 31), (1 << 31) - 1)
MOST_CHARACTERS = 80
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,31}")
# As C writes whole numbers. One zero in front and more than one digit is octal to C and decimal to people.
_INTEGER = re.compile(
    r"(\(*)(-?)(\(*)(?:0[xX]([0-9a-fA-F]{1,8})|(0{0,9}[0-7]|[1-9][0-9]{0,9}))[uUlL]{0,3}(\)*)", re.ASCII
)
# Control characters, line and paragraph separators, and what turns the direction of writing around.
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")


class Refused(ValueError):
    """A word cannot be used; the message says why, and what to write."""


def name_of(word: str) -> str:
    """The name, in small letters; raises Refused."""
    if not _NAME.fullmatch(word):
        raise Refused(f"{word[:40]!r} is no name: a letter, then letters, digits or _, at most 32")
    return word.lower()


def plain_name(what: str, number: int, taken: set[str]) -> str:
    """The name by its place of what has none of its own."""
    name = f"{what}_{number}"
    while name in taken:
        name += "_"
    return name


def role_of(roles: Any, word: str) -> Any:
    """The role of this name, None for '-'; raises Refused."""
    if word == "-":
        return None
    if word.lower() not in roles.__members__.values():
        raise Refused(f"unknown role {word[:40]!r}; FORMAT.md, section 6 lists them; '-' is none")
    return roles(word.lower())


def integer(word: str, low: int, high: int) -> int:
    """The number as C or people write it: 1000, (1000), 1000UL, -5, 0x3E8; raises Refused."""
    found = _INTEGER.fullmatch(word)
    if found is None or len(found[1]) + len(found[3]) != len(found[6]):
        raise Refused(f"{word[:40]!r} is no plain number; write its digits, as 1000 or 0x3E8")
    number = int(found[4], 16) if found[4] else int(found[5])
    number = -number if found[2] else number
    if not low <= number <= high:
        raise Refused(f"{word[:40]!r} should be an integer from {low} to {high}")
    return number


def text_of(words: str) -> str:
    """The text, cut at 80 characters, with U+FFFD for each control character; raises Refused where there is none."""
    if not words:
        raise Refused("its text is missing; write 1 to 80 characters")
    return _CONTROL.sub("\ufffd", words[:MOST_CHARACTERS])
