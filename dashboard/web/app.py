"""The dashboard of one study: the shell around all pages, and Dash for those that are worked on.

Callbacks here are wires only.
"""

import mimetypes
from pathlib import Path
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, callback_context, dcc, html, no_update
from flask import Response, request
from markupsafe import Markup

from dashboard.pages import PAGES
from dashboard.state.dashboard_session import Session
from dashboard.state.stage_pictures import StagePictures
from dashboard.web import element_ids
from dashboard.web.downloads import add_downloads
from dashboard.web.guard import protect
from dashboard.web.shell import add_shell, document, page_at
from ingest.study.study_errors import StudyError

_REFRESH_MS = 700
_SCRIPTS = ("morphdom.min.js", "figures.js", "shell.js", "printing.js")
# Windows keeps such a table for all programs, and others write into it: a script that is called text is not run.
_TYPES = {
    ".js": "text/javascript",
    ".css": "text/css",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".woff2": "font/woff2",
}
_ASSETS = Path(__file__).parent.parent / "assets"


class _ShellDash(Dash):
    """Dash whose document is the shell's, and whose scripts wait until a page needs them."""

    study = ""

    def interpolate_index(
        self, css: str = "", config: str = "", scripts: str = "", renderer: str = "", **_: Any
    ) -> str:
        own = [f"{self.get_asset_url(name)}?m={int((_ASSETS / name).stat().st_mtime)}" for name in _SCRIPTS]
        return document(request.path, self.study, Markup(css), own, Markup(config), Markup(scripts + renderer))


def build_app(
    session: Session, host: str = "127.0.0.1", token: str | None = None, pictures: Path | None = None
) -> Dash:
    """The dashboard of one study, ready to be served at `host`; `token` is asked for when it is not None.

    `pictures`: the folder of the pictures that lie under the death maps, on the pages and in the report.
    """
    session.pictures = StagePictures(pictures)
    for ending, type_ in _TYPES.items():
        mimetypes.add_type(type_, ending)
    app = _ShellDash(
        "dashboard",
        title="Setscrew",
        update_title="",
        assets_folder="assets",
        assets_ignore=r".*\.js",  # the shell names its scripts itself
        serve_locally=True,
        add_log_handler=False,
    )
    app.study = session.known_as
    app.enable_dev_tools(debug=False, dev_tools_disable_version_check=True)
    app.layout = lambda: _working(session.version)
    app.validation_layout = html.Div([_working(0), *[part for page in PAGES for part in page.controls()]])
    _wire(app, session)
    for page in PAGES:
        page.wires(app, session)
    app.server.register_error_handler(StudyError, _wait)
    add_shell(app.server, session)
    add_downloads(app.server, session)
    protect(app.server, host, token, app.csp_hashes())
    return app


def _wait(error: Exception) -> Response:
    """The answer while another process writes into the study, or while it is damaged or gone: why, and what to do. The
    shell says so and asks again."""
    return Response(f"{error}", status=503, mimetype="text/plain; charset=utf-8", headers={"Retry-After": "2"})


def _working(version: int) -> html.Div:
    """What Dash keeps: the place of a page that is worked on, and what its callbacks read."""
    return html.Div(
        [
            html.Div(id=element_ids.WORKING),
            html.Div(id=element_ids.MESSAGE, className="message", role="status"),
            dcc.Location(id=element_ids.ADDRESS, refresh="callback-nav"),
            dcc.Interval(id=element_ids.CLOCK, interval=_REFRESH_MS),
            dcc.Store(id=element_ids.VERSION, data=version),
        ]
    )


def _wire(app: Dash, session: Session) -> None:
    @app.callback(
        Output(element_ids.WORKING, "children"),
        Input(element_ids.ADDRESS, "pathname"),
        Input(element_ids.ADDRESS, "search"),
        Input(element_ids.VERSION, "data"),
    )
    def show(path: str | None, search: str | None, _: int | None) -> Any:
        page = page_at(path)
        if page is None or page.reading:
            return []
        only_the_study = set(callback_context.triggered_prop_ids) == {f"{element_ids.VERSION}.data"}
        if only_the_study and not page.follows:
            return no_update
        version = session.version  # before the answer: what changes meanwhile is asked for again
        shown = {"data-address": f"{path}{search or ''}", "data-follows": str(version) if page.follows else ""}
        filled = page.filled(session, session.chosen(search), search)
        head = html.Div([html.H1(page.title), html.P(page.lead, className="lead")], className="head")
        return html.Div([head, html.Div(filled, className="cards", key=page.path)], **shown)

    app.clientside_callback(
        ClientsideFunction("setscrew", "clearedLater"),
        Output(element_ids.MESSAGE, "title"),
        Input(element_ids.MESSAGE, "children"),
        prevent_initial_call=True,
    )
