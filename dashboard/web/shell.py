"""What stands around and on every page as plain HTML: navigation, filter bar, and the pages that are only read.

The browser asks for a page's part (`/part.json`) and puts it in place (assets/shell.js), so that a change of the filter
costs one request. Pages that are worked on are Dash's: it is loaded when the first of them is opened.
"""

import json
import re
from html import escape, unescape
from typing import Any
from urllib.parse import unquote

from dash import html
from flask import Flask, Response, request

from analysis.selection import Selection
from analysis.words import counted
from dashboard import ids
from dashboard.cards import figure_id
from dashboard.filters import from_address, to_address
from dashboard.opened import opened_at
from dashboard.page import Page
from dashboard.pages import PAGES
from dashboard.session import Session
from dashboard.to_html import to_html
from dashboard.web.downloads import PLOTLY_ADDRESS, figure_json
from dashboard.web.filter_bar import filter_bar

_BY_PATH = {page.path: page for page in PAGES}
# Figures that come along with the page when the browser does not say which it has in view.
_FIGURES_AT_FIRST = 2
_MOST_FIGURES = 6
_ICON = (
    "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 16 16' fill='none' stroke='%230b5f8a' "
    "stroke-width='2'%3E%3Ccircle cx='8' cy='8' r='6'/%3E%3Cpath d='M3.5 10.5l9-5'/%3E%3C/svg%3E"
)


def page_at(path: str | None) -> Page | None:
    """The page of an address."""
    return _BY_PATH.get("/" + (path or "").strip("/"))


def document(path: str, styles: str, scripts: list[str], config: str, dash_scripts: str) -> str:
    """The HTML of any address: the frame, to be filled in by assets/shell.js.

    `scripts` are addresses that every page needs; `dash_scripts`, elements, are only run when a page needs Dash.
    """
    page = page_at(path)
    kind = "reading" if page is None or page.reading else "working"
    lines = "".join(f'<script src="{escape(one)}" defer></script>' for one in scripts)
    return f"""<!DOCTYPE html>
<html lang="en">
<head><meta charset="UTF-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Setscrew</title><link rel="icon" href="{_ICON}">{lines}
<link rel="preload" as="script" href="{PLOTLY_ADDRESS}" data-plotly>{styles}</head>
<body>{to_html(_frame(kind))}<footer>{config}<template id="dash-scripts">{dash_scripts}</template></footer></body>
</html>"""


def _frame(kind: str) -> html.Div:
    def button(words: str, name: str, **more: Any) -> html.Button:
        return html.Button(words, id=name, className="button quiet", type="button", **more)

    return html.Div(
        [
            html.A("Skip to the page", href="#" + ids.MAIN, className="skip"),
            html.Header(
                [
                    html.Div([html.Span(className="brand-mark"), "Setscrew"], className="brand"),
                    html.Div(id=ids.NAVIGATION, className="links"),
                    html.Div(
                        [button("Undo", ids.UNDO, hidden=True), button("Light / dark", ids.THEME_BUTTON)],
                        className="rail-foot",
                    ),
                ],
                className="rail",
            ),
            html.Div(
                [
                    html.Div(
                        id=ids.FILTER_BAR, className="filters", role="search", **{"aria-label": "Which runs"}
                    ),
                    html.Div(id=ids.BASIS, className="basis"),
                    html.Main(
                        [html.Div(id=ids.READING), html.Div(id="react-entry-point")],
                        id=ids.MAIN,
                        tabIndex="-1",
                        **{"data-kind": kind},
                    ),
                ],
                className="body",
            ),
            html.Div(id=ids.SAID, className="message", role="status"),
        ],
        className="frame",
    )


def content(session: Session, path: str | None, search: str | None) -> list[Any]:
    """What stands below the filter bar at an address."""
    page = page_at(path)
    if page is None:
        return [
            html.Div(
                [html.H1("There is no such page"), html.A("To the overview", href="/")], className="head"
            )
        ]
    selection = from_address(search, session.games())
    head = html.Div([html.H1(page.title), html.P(page.lead, className="lead")], className="head")
    return [head, html.Div(page.filled(session, selection, search), className="cards", key=page.path)]


def navigation(current: Page | None, search: str) -> list[Any]:
    """The links to all pages, which keep the filter."""
    parts: list[Any] = []
    for group in dict.fromkeys(page.group for page in PAGES):
        links = [
            html.Li(
                html.A(page.short, href=page.path + search, **{} if page.reading else {"data-dash": True}),
                **({"aria-current": "page"} if page is current else {}),
            )
            for page in PAGES
            if page.group == group
        ]
        parts.append(html.Nav([html.H2(group), html.Ul(links)], **{"aria-label": group}))
    return parts


def basis_line(session: Session, selection: Selection) -> list[Any]:
    """What the page rests on, in one line."""
    basis = session.basis(selection)
    parts = [
        html.Span(f"{counted(basis.players, 'player')}, {counted(basis.runs, 'run')} chosen"),
        html.Span(["data ", html.Code(basis.fingerprint)]),
    ]
    if basis.damaged:
        words = f"{counted(basis.damaged, 'run')} with damage in the log"
        parts.insert(1, html.Span(html.A(words, href="/trust" + to_address(selection))))
    return parts


def add_shell(server: Flask, session: Session) -> None:
    """Adds the addresses that assets/shell.js asks for."""

    @server.get("/part.json")
    def part() -> Response:
        path, search = request.args.get("page"), request.args.get("search", "")
        version = session.version  # before the answer: what changes meanwhile is asked for again
        page, selection = page_at(path), from_address(search, session.games())
        main = "" if page is not None and not page.reading else to_html(content(session, path, search))
        told = {
            "version": version,
            "undo": session.last_change,
            "title": "Setscrew" if page is None else f"{page.title} – Setscrew",
            "kind": "working" if page is not None and not page.reading else "reading",
            ids.NAVIGATION: to_html(navigation(page, search)),
            ids.FILTER_BAR: "",
            ids.BASIS: "",
            ids.READING: main,
        }
        if selection is not None and page is not None and page.filtered:
            bar = filter_bar(page.path, selection, session.choices(selection.game))
            told[ids.FILTER_BAR], told[ids.BASIS] = to_html(bar), to_html(basis_line(session, selection))
        figures = _figures(session, main, selection) if selection is not None else ""
        return Response(f'{json.dumps(told)[:-1]}, "figures": {{{figures}}}}}', mimetype="application/json")

    @server.get("/state.json")
    def state() -> Response:
        told = {"version": session.version, "undo": session.last_change}
        return Response(json.dumps(told), mimetype="application/json")

    @server.post("/undo")
    def undo() -> Response:
        return Response(json.dumps({"done": session.undo()}), mimetype="application/json")


def _figures(session: Session, main: str, selection: Selection) -> str:
    """The figures that the browser will draw at once, as the inside of a JSON object: address -> figure."""
    addresses = [unescape(one) for one in re.findall(r'data-figure="([^"]*)"', main)]
    shown = set(request.args.getlist("shown"))
    chosen = [one for one in addresses if figure_id(one) in shown] or addresses[:_FIGURES_AT_FIRST]
    drawn = (
        (
            one,
            figure_json(
                session,
                unquote(figure_id(one)),
                selection,
                opened_at(one.partition("?")[2]),
                request.args.get("theme"),
            ),
        )
        for one in chosen[:_MOST_FIGURES]
    )
    return ", ".join(f"{json.dumps(one)}: {figure}" for one, figure in drawn if figure is not None)
