"""Terms on a page lead to their explanation where they are first used."""

import re
from functools import cache

from markupsafe import Markup

from analysis.methods.terms import TERMS
from dashboard.web.templating import part

PATH = "/terms"
# What is said on a page, as the templates write it: the sentence of a finding, how sure it is, warnings and notes.
_SAID = re.compile(r'(<p class="(?:saying|sure|warning|note)[^"]*">)(.*?)(</p>)', re.DOTALL)
# Of HTML: a link or piece of code as a whole, which is left alone, or a tag.
_APART = re.compile(r"(<a\b.*?</a>|<code>.*?</code>|<[^>]*>)", re.DOTALL)


def linked(page: Markup, search: str = "") -> Markup:
    """The HTML of a page, made by the templates, in which the first use of each term is a link. search: the filter."""
    open_terms = set(TERMS)

    def said(found: re.Match[str]) -> str:
        start, inside, end = found.groups()
        pieces = _APART.split(inside)
        pieces[::2] = [_in_text(piece, open_terms, search) for piece in pieces[::2]]
        return start + "".join(pieces) + end

    return Markup(_SAID.sub(said, str(page)))


def _in_text(text: str, open_terms: set[str], search: str) -> str:
    """A piece of HTML without tags, escaped as it is, with its first uses linked."""

    def link(found: re.Match[str]) -> str:
        key = _meant()[found.group().lower()]
        if key not in open_terms:
            return found.group()
        open_terms.discard(key)
        return str(part("link", Markup(found.group()), f"{PATH}{search}#{key}", {"class": "term"}))

    return _words().sub(link, text)


@cache
def _meant() -> dict[str, str]:
    return {word: key for key, term in TERMS.items() for word in term.words}


@cache
def _words() -> re.Pattern[str]:
    """Any word of a term, the longest first."""
    words = sorted(_meant(), key=len, reverse=True)
    return re.compile(r"(?<![\w-])(?:" + "|".join(map(re.escape, words)) + r")(?![\w-])", re.IGNORECASE)
