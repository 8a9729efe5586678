"""The report as a page: the words that only the authors know, one button, and everything as one archive."""

import io
import tempfile
import zipfile
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from dash import Dash, Input, State, callback_context, dcc, html

from analysis.selection import Selection
from dashboard.pages.page import Page
from dashboard.pages.question_pages import nothing_ingested
from dashboard.parts.dash_parts import note
from dashboard.parts.job_area import JobArea
from dashboard.report.browser import find_browser
from dashboard.report.content import About, gather
from dashboard.report.proposing import proposer
from dashboard.report.writing import write_report
from dashboard.state.dashboard_session import Session
from dashboard.state.jobs import Job
from dashboard.web import element_ids
from dashboard.web.filters import from_address, in_words
from dashboard.web.placing import placed

TITLE, AUTHORS, QUESTION, PLAYTEST, CONSENT = (
    f"report-{name}" for name in ("title", "authors", "question", "playtest", "consent")
)
EVERY, WRITE = "report-every", "report-write"
AREA = JobArea("report")
_LONGEST = 4000
_PLACES = {"title": TITLE, "authors": AUTHORS, "question": QUESTION, "playtest": PLAYTEST, "consent": CONSENT}


def controls(words: Mapping[str, str] | None = None) -> list[Any]:
    """The words of the authors (those already kept: `words`), the button, and where the result appears."""
    kept = {_PLACES[place]: text for place, text in (words or {}).items() if place in _PLACES}

    def line(label: str, name: str) -> html.Div:
        return html.Div(
            [
                html.Label(label, htmlFor=name),
                dcc.Input(id=name, type="text", maxLength=200, size="50", value=kept.get(name)),
            ],
            className="field grow",
        )

    def lines(label: str, name: str, hint: str) -> html.Div:
        area = dcc.Textarea(id=name, rows=3, maxLength=_LONGEST, placeholder=hint, value=kept.get(name))
        return html.Div([html.Label(label, htmlFor=name), area], className="field")

    return [
        html.Div([line("Title", TITLE), line("Authors", AUTHORS)], className="row"),
        lines("The question you set out with", QUESTION, "What did you want to find out, before anybody played?"),
        lines(
            "The playtest",
            PLAYTEST,
            "Where and when, who played, what they were told, how many runs each, which build first.",
        ),
        lines("Consent", CONSENT, "How players were asked, what they were told, and who may see the data."),
        html.Div(
            [
                html.Button("Write the report", id=WRITE, className="button", type="button"),
                html.Button("Write it on every game", id=EVERY, className="button quiet", type="button"),
                *AREA.bar(),
            ],
            className="row",
        ),
        *AREA.rest(),
    ]


def body(session: Session, selection: Selection | None) -> list[Any]:
    """The form."""
    if selection is None:
        return [placed(nothing_ingested(session))]
    browser = find_browser()
    hint = (
        f"PDF and figure files are made by {browser}."
        if browser
        else "No Chromium-family browser was found: the report comes as HTML, which any browser prints; no "
        "PDF, no figure files."
    )
    return [
        html.Section(
            [
                html.H2("What only you know"),
                *controls(session.words()),
                note("What you write here is kept in the study when you write the report."),
                note(f"It covers {in_words(selection)}. {hint}"),
            ],
            className="card wide",
        ),
        html.Section(
            [
                html.H2("What it holds"),
                html.P(
                    "Question and target, the playtest, how far the data can be trusted, the findings, the "
                    "proposal, before and "
                    "after, limits, methods with their sources, and an appendix with the fingerprint that "
                    "finds the same data again. "
                    "Every number with its interval and its players and runs. Beside it: figures as SVG and "
                    "PNG, tables as CSV, "
                    "Markdown and LaTeX, the sources as BibTeX."
                ),
            ],
            className="card wide",
        ),
    ]


def write(session: Session, selections: list[Selection], about: About, job: Job) -> bytes:
    """The whole report as one zip archive. Raises Cancelled."""
    steps = 0

    def tick() -> None:
        nonlocal steps
        steps += 1
        job.report(0.1 + 0.5 * steps / (steps + 150), "looking for proposals")

    job.report(0.05, "asking the study")
    content = gather(session, selections, about, f"{datetime.now():%Y-%m-%d}", proposer(session, tick=tick))
    job.report(0.65, "drawing figures and printing")
    with tempfile.TemporaryDirectory(prefix="setscrew-") as folder:
        written = write_report(content, Path(folder) / "report")
        job.report(0.96, "packing")
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for path in sorted((Path(folder) / "report").rglob("*")):
                if path.is_file():
                    archive.write(path, path.relative_to(folder).as_posix())
            if written.remarks:
                archive.writestr("report/REMARKS.txt", "\n".join(written.remarks) + "\n")
    return packed.getvalue()


def wires(app: Dash, session: Session) -> None:
    """Button -> job -> links."""

    @app.callback(
        *AREA.started,
        Input(WRITE, "n_clicks"),
        Input(EVERY, "n_clicks"),
        State(element_ids.ADDRESS, "search"),
        *[State(name, "value") for name in _PLACES.values()],
        prevent_initial_call=True,
    )
    def start(one: int | None, every: int | None, search: str | None, *words: str | None) -> Any:
        selection = from_address(search, session.games())
        if not (one or every) or selection is None:
            return AREA.NOTHING
        whole = callback_context.triggered_id == EVERY
        chosen = [Selection(game) for game in session.games()] if whole else [selection]
        said = {place: (word or "")[:_LONGEST] for place, word in zip(_PLACES, words, strict=True)}
        session.keep_words(said)
        about = About(**said)
        return AREA.begin(session.jobs.start("report", lambda job: write(session, chosen, about, job)))

    AREA.wire(app, session, lambda job: links(job.number), done="The report is written.")


def links(job: int) -> html.Div:
    """Where the written report is to be had."""
    parts = [
        html.A("Everything, as an archive", href=f"/report/{job}.zip", download="report.zip", className="button"),
        html.A("Read it here", href=f"/report/{job}.html", target="_blank", className="button quiet"),
    ]
    return html.Div(parts, className="row")


PAGE = Page(
    path="/report",
    group="Decide",
    short="Report",
    title="Write it down",
    lead="A document to hand in, with the doubt left in, that prints to a clean PDF.",
    body=body,
    controls=controls,
    wires=wires,
    follows=False,
)
