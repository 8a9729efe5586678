"""What the pages fetch beside their callbacks: figures, long tables, CSV files, plotly.js."""

import io
import zipfile
from dataclasses import dataclass

from flask import Flask, Response, abort, request

from analysis.answers.plan_sheet import sheet
from analysis.finding import Finding
from analysis.findings.deaths.one_death import place_at
from analysis.selection import Selection
from dashboard.figures import figure_for
from dashboard.figures.before_after import before_after, rows
from dashboard.figures.death_maps import mark_place
from dashboard.figures.live_figures import recent_runs
from dashboard.figures.palette import Theme, theme_called
from dashboard.figures.tuning_figures import over_two, predicted
from dashboard.pages.live_page import RECENT_RUNS
from dashboard.pages.runs_page import runs_table
from dashboard.report import exports
from dashboard.sheets.asked_sheet import asked_sheet
from dashboard.state.dashboard_session import Session
from dashboard.state.tuning_desk import Mapped, Worked, header
from dashboard.web import plotly_js
from dashboard.web.data_archive import packed
from dashboard.web.filters import in_words
from dashboard.web.html_tables import table
from dashboard.web.opened import Opened, opened_at

PLOTLY_ADDRESS = plotly_js.address()
_ROWS_SHOWN = 200


def add_downloads(server: Flask, session: Session) -> None:
    """Adds the addresses to the dashboard's server."""

    @server.get(PLOTLY_ADDRESS)
    def plotly_script() -> Response:
        # This machine reads it faster than it unpacks it; over a network the small form wins.
        packed = "gzip" in request.accept_encodings and request.remote_addr not in ("127.0.0.1", "::1")
        answer = Response(plotly_js.compressed() if packed else plotly_js.script(), mimetype="text/javascript")
        if packed:
            answer.headers["Content-Encoding"] = "gzip"
        answer.headers["Vary"] = "Accept-Encoding"
        answer.headers["Cache-Control"] = "max-age=31536000, immutable"
        return answer

    @server.get("/figure/<key>.json")
    def figure(key: str) -> Response:
        drawn = figure_json(session, key, _asked_selection(session), _asked_opened(), asked_form())
        if drawn is None:
            abort(404)
        return Response(drawn, mimetype="application/json")

    @server.get("/recent-runs.json")
    def recent() -> Response:
        runs = session.ask("runs_recent", most=RECENT_RUNS)
        drawn = recent_runs(runs, theme_called(request.args.get("theme")))
        return Response(drawn.to_json(validate=False), mimetype="application/json")

    @server.get("/proposal/<int:job_number>/<int:number>.json")
    def proposal(job_number: int, number: int) -> Response:
        worked = _worked(session, job_number, number)
        drawn = predicted(worked.answer.proposals[number].targets, theme_called(request.args.get("theme")))
        return Response(drawn.to_json(validate=False), mimetype="application/json")

    @server.get("/way/<int:job_number>/<int:number>/<int:way>.json")
    def way_figure(job_number: int, number: int, way: int) -> Response:
        worked = _worked(session, job_number, number)
        proposal = worked.answer.proposals[number]
        if way > len(proposal.ways):
            abort(404)
        # After the last way: the proposal itself, where there is no way to choose from.
        shown = proposal if way == len(proposal.ways) else proposal.ways[way]
        drawn = before_after(rows(shown, *worked.counted), theme_called(request.args.get("theme")), column=True)
        return Response(drawn.to_json(validate=False), mimetype="application/json")

    @server.get("/map/<int:job_number>.json")
    def outcome_map(job_number: int) -> Response:
        job = session.jobs.get(job_number)
        if job is None or not isinstance(job.result, Mapped):
            abort(404)
        done, theme = job.result, theme_called(request.args.get("theme"))
        drawn = over_two(done.map, done.target, done.now, theme)
        return Response(drawn.to_json(validate=False), mimetype="application/json")

    @server.get("/header/<int:job_number>/<int:number>.h")
    def header_file(job_number: int, number: int) -> Response:
        return Response(header(session, _worked(session, job_number, number), number), mimetype="text/plain")

    @server.get("/plan/<int:job_number>.md")
    def plan_sheet(job_number: int) -> Response:
        job = session.jobs.get(job_number)
        if job is None or not isinstance(job.result, dict):
            abort(404)
        return Response(sheet(job.result), mimetype="text/markdown; charset=utf-8")

    @server.get("/sheets/<name>.html")
    def lesson_sheet(name: str) -> Response:
        made = asked_sheet(session, name)
        if made is None:
            abort(404)
        return Response(made, mimetype="text/html; charset=utf-8")

    @server.get("/report/<int:job_number>.<kind>")
    def report(job_number: int, kind: str) -> Response:
        job = session.jobs.get(job_number)
        if job is None or not isinstance(job.result, bytes) or kind not in ("zip", "html", "pdf"):
            abort(404)
        if kind == "zip":
            return Response(job.result, mimetype="application/zip")
        with zipfile.ZipFile(io.BytesIO(job.result)) as archive:
            if f"report/report.{kind}" not in archive.namelist():
                abort(404)
            whole = archive.read(f"report/report.{kind}")
        return Response(whole, mimetype="text/html; charset=utf-8" if kind == "html" else "application/pdf")

    @server.get("/table/<key>/<name>.html")
    def table_markup(key: str, name: str) -> Response:
        finding = asked_finding(session, key, name)[0]
        markup = table(finding.tables[name], name.replace("_", " "), most=_ROWS_SHOWN)
        return Response(markup, mimetype="text/html; charset=utf-8")

    @server.get("/table/<key>/<name>.csv")
    def table_file(key: str, name: str) -> Response:
        finding, selection = asked_finding(session, key, name)
        head = exports.header(finding, in_words(selection), session.basis(selection).fingerprint)
        answer = Response(exports.as_csv(finding.tables[name], head), mimetype="text/csv; charset=utf-8")
        file = f"{file_name(key)}-{file_name(name)}.csv"
        answer.headers["Content-Disposition"] = f'attachment; filename="{file}"'
        return answer

    @server.get("/data.zip")
    def data() -> Response:
        answer = Response(packed(session, tags="tags" in request.args), mimetype="application/zip")
        answer.headers["Content-Disposition"] = 'attachment; filename="data.zip"'
        return answer

    @server.get("/runs.html")
    def runs_markup() -> Response:
        return Response(
            runs_table(session, _asked_selection(session).game, _asked_opened().run),
            mimetype="text/html; charset=utf-8",
        )


@dataclass(frozen=True)
class Form:
    """The colours that a browser wants a figure in, and whether its window is narrow."""

    theme: Theme
    narrow: bool


def asked_form() -> Form:
    """The form that the request asks for."""
    return Form(theme_called(request.args.get("theme")), request.args.get("narrow") == "1")


def figure_json(session: Session, key: str, selection: Selection, opened: Opened, form: Form) -> str | None:
    """The figure of a finding as JSON; None where there is none."""
    finding = _finding(session, key, selection, opened)
    drawn = None if finding is None else figure_for(finding, form.theme, narrow=form.narrow)
    if finding is None or drawn is None:
        return None
    drawn = session.pictures.lay_under(drawn, finding, selection)
    if key == "deaths.places":
        place = None if opened.place is None else place_at(finding, *opened.place)
        if place is not None:
            mark_place(drawn, place, form.theme)
    return drawn.to_json(validate=False)


def asked_finding(session: Session, key: str, name: str | None = None) -> tuple[Finding, Selection]:
    """The finding that an address asks for, which has a table `name` if one is named; 404 otherwise."""
    selection = _asked_selection(session)
    finding = _finding(session, key, selection, _asked_opened())
    if finding is None or (name is not None and name not in finding.tables):
        abort(404)
    return finding, selection


def _finding(session: Session, key: str, selection: Selection, opened: Opened) -> Finding | None:
    if key == "deaths.one":
        return None if opened.death is None else session.one_death(selection, *opened.death)
    return session.finding(key, selection)


def _worked(session: Session, job_number: int, number: int) -> Worked:
    job = session.jobs.get(job_number)
    if job is None or not isinstance(job.result, Worked) or number >= len(job.result.answer.proposals):
        abort(404)
    return job.result


def _asked_selection(session: Session) -> Selection:
    selection = session.chosen(request.query_string.decode("utf-8", "replace"))
    if selection is None:
        abort(404)
    return selection


def _asked_opened() -> Opened:
    return opened_at(request.query_string.decode("utf-8", "replace"))


def file_name(text: str) -> str:
    """`text` as a harmless part of a file name."""
    return "".join(letter if letter.isascii() and (letter.isalnum() or letter in "._-") else "_" for letter in text)
