"""Terms on a page lead to their explanation where they are first used."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import cache

from analysis.methods.terms import TERMS

PATH = "/terms"
# How sure an answer is, and of how many: they stand in the head, which is written last.
_OF_HEAD = frozenset({"certainty", "counted"})


@dataclass
class Unused:
    """The terms that a page has not used yet. search: its filter, which the links keep."""

    search: str
    keys: set[str] = field(default_factory=lambda: set(TERMS) - _OF_HEAD)

    def begin_head(self) -> None:
        """What is written from here on is the head."""
        self.keys |= _OF_HEAD


_UNUSED: ContextVar[Unused | None] = ContextVar("unused", default=None)


@contextmanager
def linking(search: str) -> Iterator[Unused]:
    """While a page is written: the first use of each term is a link."""
    unused = Unused(search)
    token = _UNUSED.set(unused)
    try:
        yield unused
    finally:
        _UNUSED.reset(token)


def split(text: str) -> Iterator[tuple[str, str | None]]:
    """A text in pieces, each with the address that it leads to, if any."""
    unused = _UNUSED.get()
    done = 0
    for found in _words().finditer(text) if unused is not None else ():
        key = _meant()[found.group().lower()]
        if unused is None or key not in unused.keys:
            continue
        unused.keys.discard(key)
        yield text[done : found.start()], None
        yield found.group(), f"{PATH}{unused.search}#{key}"
        done = found.end()
    yield text[done:], None


@cache
def _meant() -> dict[str, str]:
    return {word: key for key, term in TERMS.items() for word in term.words}


@cache
def _words() -> re.Pattern[str]:
    """Any word of a term, the longest first."""
    words = sorted(_meant(), key=len, reverse=True)
    return re.compile(r"(?<![\w-])(?:" + "|".join(map(re.escape, words)) + r")(?![\w-])", re.IGNORECASE)
