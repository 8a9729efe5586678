"""A finding on a page: its sentence first, then the figure, then all that is needed to judge it."""

from collections import Counter
from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from dash import html

from analysis import words
from analysis.finding import Finding
from analysis.methods import METHODS
from analysis.selection import Selection
from analysis.words import capital
from dashboard.figures import WIDE, has_figure
from dashboard.filters import to_address
from dashboard.opened import NOTHING, Opened

_FIGURES = "/figure/"
_WARNINGS_SHOWN = 2


def card(
    finding: Finding,
    selection: Selection,
    version: int,
    said: frozenset[str] = frozenset(),
    opened: Opened = NOTHING,
    basis: list[Any] | None = None,
) -> html.Section:
    """One finding as a card; warnings in `said` are left out. `opened`: what else its figure and tables depend on.

    `basis`: what it rests on, where it is not a number of players and runs.
    """
    drawn = has_figure(finding)
    asked = to_address(selection) + opened.words()
    address = f"{_FIGURES}{quote(finding.id)}.json{asked}&version={version}"
    return html.Section(
        [
            html.H2(capital(finding.title)),
            html.P(prose(capital(finding.sentence)), className="saying"),
            *_warnings([warning for warning in finding.warnings if warning not in said]),
            graph(address, finding.title) if drawn else None,
            html.P(_basis_parts(finding) if basis is None else basis, className="basis-line"),
            html.Div(
                [
                    _method(finding),
                    _numbers(finding, asked, version),
                    _downloads(finding, asked, drawn),
                ],
                className="drawer",
            ),
        ],
        className="card" + (" wide" if finding.id in WIDE else ""),
        key=finding.id,
        **{"data-finding": finding.id},
    )


def _warnings(warnings: Sequence[str]) -> list[Any]:
    """The first ones openly; a long row of them may not push the figure out of sight."""
    parts: list[Any] = [note(capital(warning), "warning") for warning in warnings]
    if len(parts) <= _WARNINGS_SHOWN + 1:
        return parts
    more = html.Details(
        [html.Summary(f"{len(parts) - _WARNINGS_SHOWN} more warnings"), *parts[_WARNINGS_SHOWN:]]
    )
    return [*parts[:_WARNINGS_SHOWN], html.Div(more, className="more")]


def figure_id(address: str) -> str:
    """Which finding's figure an address means, as `card` writes it; "" for any other address."""
    return address.removeprefix(_FIGURES).partition(".json?")[0] if address.startswith(_FIGURES) else ""


def shared_warnings(found: Sequence[Finding]) -> frozenset[str]:
    """The warnings that most findings carry: said once, above them."""
    count = Counter(warning for finding in found for warning in set(finding.warnings))
    return frozenset(warning for warning, times in count.items() if times > 1 and 2 * times >= len(found))


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


def empty(title: str, steps: list[Any]) -> html.Section:
    """What a page says when it has nothing to show: why, and what to do next."""
    return html.Section(
        [html.H2(title), html.Ol([html.Li(prose(step)) for step in steps])], className="card empty wide"
    )


def _basis_parts(finding: Finding) -> list[Any]:
    parts: list[Any] = [html.Span(finding.basis)]
    if finding.estimate is not None:
        parts.append(html.Span(words.estimated(finding.estimate)))
    if finding.indicative:
        parts.append(html.Span("fewer than 8 players", className="tag"))
    return parts


def _method(finding: Finding) -> html.Details:
    method = METHODS.get(finding.method)
    inside: list[Any] = [html.P(html.Code(finding.id))]
    if method is not None:
        inside = [
            html.P([html.B(method.name + ". "), method.text]),
            *[html.P(s.text, className="source") for s in method.sources],
        ]
    return html.Details([html.Summary("Method"), *inside])


def served(address: str, label: str) -> html.Div:
    """A long table as the server's own HTML, fetched when it comes into view.

    Thousands of cells as Dash components would each listen to every change of the page.
    """
    return html.Div(
        className="table served",
        tabIndex="0",
        role="region",
        **{"data-source": address, "aria-label": label},
    )


def _numbers(finding: Finding, asked: str, version: int) -> html.Details | None:
    if not finding.tables:
        return None
    address = f"{asked}&version={version}"
    tables = [
        served(
            f"/table/{quote(finding.id)}/{quote(name)}.html{address}",
            f"{finding.title}: {name.replace('_', ' ')}",
        )
        for name in finding.tables
    ]
    return html.Details([html.Summary("Numbers"), *tables])


def _downloads(finding: Finding, asked: str, drawn: bool) -> html.Div:
    parts: list[Any] = []
    if drawn:
        parts += [
            html.Button(
                kind.upper(),
                type="button",
                className="save-figure",
                **{"data-format": kind, "data-name": finding.id},
            )
            for kind in ("svg", "png")
        ]
    parts += [
        html.A(
            "CSV" if len(finding.tables) == 1 else f"CSV: {name.replace('_', ' ')}",
            href=f"/table/{quote(finding.id)}/{quote(name)}.csv{asked}",
            download=f"{finding.id}-{name}.csv",
        )
        for name in finding.tables
    ]
    return html.Div(parts, className="downloads")
