"""The dashboard: one frame around all pages, one filter, one theme. Callbacks here are wires only."""

from pathlib import Path
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State, callback_context, dcc, html, no_update

from analysis.selection import Selection
from dashboard import ids
from dashboard.downloads import PLOTLY_ADDRESS, add_downloads
from dashboard.filter_bar import filter_bar
from dashboard.filters import from_address, to_address
from dashboard.guard import protect
from dashboard.page import Page
from dashboard.pages import PAGES
from dashboard.palette import theme_called
from dashboard.session import Session
from dashboard.stage_pictures import StagePictures
from dashboard.wording import counted

_BY_PATH = {page.path: page for page in PAGES}
_REFRESH_MS = 700


_INDEX = """<!DOCTYPE html>
<html lang="en">
<head>{%metas%}<title>{%title%}</title>{%favicon%}{%css%}</head>
<body>{%app_entry%}<footer>{%config%}{%scripts%}{%renderer%}</footer></body>
</html>"""


def build_app(
    session: Session, host: str = "127.0.0.1", token: str | None = None, pictures: Path | None = None
) -> Dash:
    """The dashboard of one study, ready to be served at `host`; `token` is asked for when it is not None.

    `pictures`: the folder of the pictures that lie under the death maps.
    """
    app = Dash(
        "dashboard",
        title="Setscrew",
        update_title="",
        assets_folder="assets",
        serve_locally=True,
        index_string=_INDEX,
        external_scripts=[{"src": PLOTLY_ADDRESS, "async": "async"}],
        add_log_handler=False,
    )
    app.enable_dev_tools(debug=False, dev_tools_disable_version_check=True)
    app.layout = lambda: _frame(session.version)
    app.validation_layout = html.Div([_frame(0), *[part for page in PAGES for part in page.controls()]])
    _wire(app, session)
    for page in PAGES:
        page.wires(app, session)
    add_downloads(app.server, session, StagePictures(pictures))
    protect(app.server, host, token, app.csp_hashes())
    return app


def _frame(version: int) -> html.Div:
    return html.Div(
        [
            html.A("Skip to the page", href="#" + ids.MAIN, className="skip"),
            html.Header(
                [
                    html.Div([html.Span(className="brand-mark"), "Setscrew"], className="brand"),
                    html.Div(id=ids.NAVIGATION, className="links"),
                    html.Div(
                        [
                            html.Button(
                                "Undo", id=ids.UNDO, className="button quiet", type="button", hidden=True
                            ),
                            html.Button(
                                "Light / dark", id=ids.THEME_BUTTON, className="button quiet", type="button"
                            ),
                        ],
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
                    html.Main(id=ids.MAIN, tabIndex="-1"),
                ],
                className="body",
            ),
            html.Div(id=ids.MESSAGE, className="message", role="status"),
            dcc.Location(id=ids.ADDRESS, refresh="callback-nav"),
            dcc.Interval(id=ids.CLOCK, interval=_REFRESH_MS),
            dcc.Store(id=ids.VERSION, data=version),
            dcc.Store(id=ids.THEME_CHOICE, storage_type="local"),
            dcc.Store(id=ids.THEME_NOW),
        ],
        className="frame",
    )


def page_at(path: str | None) -> Page | None:
    """The page of an address."""
    return _BY_PATH.get("/" + (path or "").strip("/"))


def content(session: Session, path: str | None, search: str | None, theme_name: str | None) -> list[Any]:
    """What stands below the filter bar at an address."""
    page = page_at(path)
    if page is None:
        return [
            html.Div(
                [html.H1("There is no such page"), dcc.Link("To the overview", href="/")], className="head"
            )
        ]
    selection = from_address(search, session.games())
    head = html.Div([html.H1(page.title), html.P(page.lead, className="lead")], className="head")
    body = page.body(session, selection, theme_called(theme_name))
    return [head, html.Div(body, className="cards", key=page.path)]


def navigation(path: str | None, search: str | None) -> list[Any]:
    """The links to all pages, which keep the filter."""
    current = page_at(path)
    parts: list[Any] = []
    for group in dict.fromkeys(page.group for page in PAGES):
        links = [
            html.Li(
                dcc.Link(page.short, href=page.path + (search or "")),
                **({"aria-current": "page"} if page is current else {}),
            )
            for page in PAGES
            if page.group == group
        ]
        parts.append(html.Nav([html.H2(group), html.Ul(links)], **{"aria-label": group}))
    return parts


def basis_line(session: Session, selection: Selection | None, page: Page | None) -> list[Any]:
    """What the page rests on, in one line."""
    if selection is None or page is None or not page.filtered:
        return []
    basis = session.basis(selection)
    parts = [
        html.Span(f"{counted(basis.players, 'player')}, {counted(basis.runs, 'run')} chosen"),
        html.Span(["data ", html.Code(basis.fingerprint)]),
    ]
    if basis.damaged:
        words = f"{counted(basis.damaged, 'run')} with damage in the log"
        parts.insert(1, html.Span(dcc.Link(words, href="/trust" + to_address(selection))))
    return parts


def _wire(app: Dash, session: Session) -> None:
    @app.callback(
        Output(ids.VERSION, "data"),
        Input(ids.CLOCK, "n_intervals"),
        State(ids.VERSION, "data"),
        prevent_initial_call=True,
    )
    def notice_changes(_: int, seen: int | None) -> Any:
        return no_update if seen == session.version else session.version

    @app.callback(
        Output(ids.MAIN, "children"),
        Output(ids.BASIS, "children"),
        Input(ids.ADDRESS, "pathname"),
        Input(ids.ADDRESS, "search"),
        Input(ids.THEME_NOW, "data"),
        Input(ids.VERSION, "data"),
    )
    def show(path: str | None, search: str | None, theme: str | None, _: int | None) -> Any:
        page = page_at(path)
        only_the_study = set(callback_context.triggered_prop_ids) == {f"{ids.VERSION}.data"}
        if only_the_study and page is not None and not page.follows:
            return no_update, no_update
        selection = from_address(search, session.games())
        return content(session, path, search, theme), basis_line(session, selection, page)

    @app.callback(Output(ids.UNDO, "hidden"), Output(ids.UNDO, "children"), Input(ids.VERSION, "data"))
    def show_undo(_: int | None) -> Any:
        return session.last_change is None, f"Undo {session.last_change}"

    @app.callback(
        Output(ids.MESSAGE, "children", allow_duplicate=True),
        Input(ids.UNDO, "n_clicks"),
        prevent_initial_call=True,
    )
    def undo(clicks: int | None) -> Any:
        done = session.undo() if clicks else None
        return html.Div(f"Taken back: {done}.") if done else no_update

    @app.callback(
        Output(ids.NAVIGATION, "children"), Input(ids.ADDRESS, "pathname"), Input(ids.ADDRESS, "search")
    )
    def show_links(path: str | None, search: str | None) -> Any:
        return navigation(path, search)

    @app.callback(
        Output(ids.FILTER_BAR, "children"),
        Input(ids.ADDRESS, "pathname"),
        Input(ids.ADDRESS, "search"),
        Input(ids.VERSION, "data"),
    )
    def show_filter(path: str | None, search: str | None, _: int | None) -> Any:
        page, selection = page_at(path), from_address(search, session.games())
        if selection is None or page is None or not page.filtered:
            return []
        return filter_bar(page.path, selection, session.choices(selection.game))

    app.clientside_callback(
        ClientsideFunction("setscrew", "theme"),
        Output(ids.THEME_NOW, "data"),
        Input(ids.THEME_CHOICE, "data"),
    )
    app.clientside_callback(
        ClientsideFunction("setscrew", "clearedLater"),
        Output(ids.MESSAGE, "title"),
        Input(ids.MESSAGE, "children"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("setscrew", "otherTheme"),
        Output(ids.THEME_CHOICE, "data"),
        Input(ids.THEME_BUTTON, "n_clicks"),
        State(ids.THEME_CHOICE, "data"),
        prevent_initial_call=True,
    )
