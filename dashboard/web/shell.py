"""What stands around and on every page as plain HTML: navigation, filter bar, and the pages that are only read.

The browser asks for a page's part (`/part.json`) and puts it in place (assets/shell.js), so that a change of the filter
costs one request. Pages that are worked on are Dash's: it is loaded when the first of them is opened.
"""

import json
from collections.abc import Sequence

from flask import Flask, Response, request
from markupsafe import Markup

from analysis.findings import QUESTIONS
from analysis.selection import Selection
from dashboard.pages import PAGES
from dashboard.pages.page import Page
from dashboard.parts.cards import Figure, Shown
from dashboard.state.dashboard_session import Session
from dashboard.web import element_ids
from dashboard.web.downloads import PLOTLY_ADDRESS, asked_form, figure_json
from dashboard.web.filter_bar import filter_bar
from dashboard.web.filters import to_address
from dashboard.web.templating import part, render
from dashboard.web.term_links import linking

_BY_PATH = {page.path: page for page in PAGES}
# Figures that come along with the page when the browser does not say which it has in view.
_FIGURES_AT_FIRST = 2
_MOST_FIGURES = 6
_ICON = (
    "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 16 16' fill='none' stroke='%230a5a61' "
    "stroke-width='2'%3E%3Ccircle cx='8' cy='8' r='6'/%3E%3Cpath d='M3.5 10.5l9-5'/%3E%3C/svg%3E"
)


def page_at(path: str | None) -> Page | None:
    """The page of an address."""
    return _BY_PATH.get("/" + (path or "").strip("/"))


def document(path: str, study: str, styles: Markup, scripts: list[str], config: Markup, dash_scripts: Markup) -> str:
    """The HTML of any address: the frame, to be filled in by assets/shell.js.

    `study` is what the browser tells one study from another by; `scripts` are addresses that every page needs;
    `dash_scripts`, elements, are only run when a page needs Dash.
    """
    page = page_at(path)
    return render(
        "frame.html",
        ids=element_ids,
        icon=_ICON,
        plotly=PLOTLY_ADDRESS,
        study=study,
        kind="reading" if page is None or page.reading else "working",
        styles=styles,
        scripts=scripts,
        config=config,
        dash_scripts=dash_scripts,
    )


def content(session: Session, path: str | None, search: str | None) -> Shown:
    """What stands below the filter bar at the address of a page that is only read, or of none."""
    page = page_at(path)
    if page is None:
        return Shown(part("no_page"))
    with linking(search or "") as terms:
        shown: list[Shown] = page.filled(session, session.chosen(search), search)
        inside = Markup("").join(one.html for one in shown)
        head = next((one.head for one in shown if one.head is not None), None)
        terms.begin_head()
        html = part("page", page.title, page.lead, page.path, inside, head)
    return Shown(html, tuple(figure for one in shown for figure in one.figures))


def navigation(session: Session, current: Page | None, search: str, selection: Selection | None) -> Markup:
    """The links to the pages, which keep the filter; of a game, to those whose question can be asked of it."""
    asked = QUESTIONS if selection is None else session.asked_of(selection.game)
    shown = [page for page in PAGES if page.question is None or page.question in asked]
    names = dict.fromkeys(page.group for page in shown)
    groups = [(name, [page for page in shown if page.group == name]) for name in names]
    return part("navigation", groups, current, search)


def add_shell(server: Flask, session: Session) -> None:
    """Adds the addresses that assets/shell.js asks for."""

    @server.get("/part.json")
    def part_of_page() -> Response:
        path, search = request.args.get("page"), request.args.get("search", "")
        version = session.version  # before the answer: what changes meanwhile is asked for again
        page, selection = page_at(path), session.chosen(search)
        working = page is not None and not page.reading
        main = Shown(Markup("")) if working else content(session, path, search)
        told = {
            "version": version,
            "undo": session.last_change,
            "title": "Setscrew" if page is None else f"{page.title} – Setscrew",
            "kind": "working" if working else "reading",
            element_ids.NAVIGATION: navigation(session, page, search, selection),
            element_ids.FILTER_BAR: "",
            element_ids.BASIS: "",
            element_ids.READING: main.html,
        }
        if selection is not None and page is not None and page.filtered:
            bar = filter_bar(page.path, selection, session.choices(selection.game))
            told[element_ids.FILTER_BAR] = part("filter_bar", *bar)
            # What the page rests on, in one line.
            told[element_ids.BASIS] = part(
                "basis", session.basis(selection), "/trust" + to_address(selection), page.unheeded(selection)
            )
        figures = _figures(session, main.figures, selection) if selection is not None else ""
        return Response(f'{json.dumps(told)[:-1]}, "figures": {{{figures}}}}}', mimetype="application/json")

    @server.get("/state.json")
    def state() -> Response:
        told = {"version": session.version, "undo": session.last_change, "study": session.known_as}
        return Response(json.dumps(told), mimetype="application/json")

    @server.post("/undo")
    def undo() -> Response:
        return Response(json.dumps({"done": session.undo()}), mimetype="application/json")


def _figures(session: Session, placed: Sequence[Figure], selection: Selection) -> str:
    """The figures that the browser will draw at once, as the inside of a JSON object: address -> figure."""
    shown, form = set(request.args.getlist("shown")), asked_form()
    chosen = [one for one in placed if one.finding in shown] or placed[:_FIGURES_AT_FIRST]
    drawn = (
        (one.address, figure_json(session, one.finding, selection, one.opened, form)) for one in chosen[:_MOST_FIGURES]
    )
    return ", ".join(f"{json.dumps(address)}: {figure}" for address, figure in drawn if figure is not None)
