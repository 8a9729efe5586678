"""A finding on a page: its sentence first, then the figure, then all that is needed to judge it."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from markupsafe import Markup

from analysis import words
from analysis.finding import Finding
from analysis.methods import METHODS
from analysis.selection import Selection
from analysis.stats.estimate import FEW_PLAYERS
from dashboard.figures import WIDE, has_figure
from dashboard.web.filters import to_address
from dashboard.web.opened import NOTHING, Opened
from dashboard.web.templating import part

_WARNINGS_SHOWN = 2


@dataclass(frozen=True)
class Figure:
    """A place for the figure of a finding; it is drawn when it comes into view, in the theme that the browser has."""

    finding: str  # its key
    address: str
    opened: Opened


@dataclass(frozen=True)
class Head:
    """What a page says first: the answer, how sure it is, what it rests on, and the next steps (words, address)."""

    answer: str
    certainty: str
    basis: str
    steps: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Shown:
    """A piece of a page that is only read, the figures that stand in it, and the page's head if it knows the answer."""

    html: Markup
    figures: tuple[Figure, ...] = ()
    head: Head | None = None


def card(
    finding: Finding,
    selection: Selection,
    version: int,
    said: frozenset[str] = frozenset(),
    opened: Opened = NOTHING,
    basis: Sequence[str] | None = None,
    links: Markup | None = None,
    place: str = "",
) -> Shown:
    """One finding as a card; warnings in `said` are left out. `opened`: what else its figure and tables depend on.

    `basis`: what it rests on, to stand openly, where it is not a number of players and runs. `links` stand below the
    sentence. `place`: "lead" for the answer of a page, "beside" for what stands beside it.
    """
    asked = to_address(selection) + opened.words()
    address = f"/figure/{quote(finding.key)}.json{asked}&version={version}"
    figures = (Figure(finding.key, address, opened),) if has_figure(finding) else ()
    warnings = [words.capital(warning) for warning in finding.warnings if warning not in said]
    html = part(
        "card",
        finding,
        figures[0] if figures else None,
        links=links,
        # The first ones openly; a long row of them may not push the figure out of sight.
        warnings=len(warnings) if len(warnings) <= _WARNINGS_SHOWN + 1 else _WARNINGS_SHOWN,
        all_warnings=warnings,
        basis=_basis(finding) if basis is None else basis,
        few=f"fewer than {FEW_PLAYERS} players" if basis is None and finding.indicative else "",
        method=METHODS.get(finding.method),
        tables=[(name, _table_address(finding, name)) for name in finding.tables],
        asked=asked,
        version=version,
        wide=finding.id in WIDE,
        open_basis=basis is not None,
        place=place,
    )
    return Shown(html, figures)


def _table_address(finding: Finding, name: str) -> str:
    return f"/table/{quote(finding.key)}/{quote(name)}"


def _basis(finding: Finding) -> list[str]:
    return [finding.basis, *([words.estimated(finding.estimate)] if finding.estimate is not None else [])]


def shared_warnings(found: Sequence[Finding]) -> frozenset[str]:
    """The warnings that most findings carry: said once, above them."""
    count = Counter(warning for finding in found for warning in set(finding.warnings))
    return frozenset(warning for warning, times in count.items() if times > 1 and 2 * times >= len(found))


def answered(
    lead: Sequence[Shown],
    beside: Sequence[Shown],
    rest: Sequence[tuple[str, str, Shown]],
    warnings: Sequence[str],
    below: Sequence[Shown] = (),
) -> Shown:
    """A page's answer: its figure large, others beside it, the rest folded as (key, name, card).

    below: what was opened, to be seen together with both.
    """
    html = part(
        "answered",
        [one.html for one in lead],
        [one.html for one in beside],
        [(key, name, one.html) for key, name, one in rest],
        warnings,
        [one.html for one in below],
    )
    every = [*lead, *beside, *below, *(one for _, _, one in rest)]
    return Shown(html, tuple(figure for one in every for figure in one.figures))


def note(text: str, kind: str = "note") -> Shown:
    """A line of text with a meaning: "note", "warning", "good", "caution"."""
    return Shown(part("note", text, kind))


def empty(title: str, steps: Sequence[Any]) -> Markup:
    """What a page says when it has nothing to show: why, and what to do next. Steps are texts or HTML."""
    return part("empty", title, steps)


def link(text: str, address: str, **more: str) -> Markup:
    """A link, with more attributes (`_` for `-`)."""
    return part("link", text, address, {name.replace("_", "-"): value for name, value in more.items()})
