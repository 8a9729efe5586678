"""The report as a page: the words that only the authors know, one button, and everything as one archive."""

import io
import tempfile
import zipfile
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from dash import Dash, Input, Output, State, callback_context, dcc, html, no_update

from analysis.arguments import WrongArgument
from analysis.findings.pooled import checked_builds
from analysis.selection import Selection
from analysis.words import counted, listed
from dashboard.pages.page import Page
from dashboard.pages.question_pages import nothing_ingested
from dashboard.parts.dash_parts import field, note, unsaved
from dashboard.parts.job_area import JobArea
from dashboard.report.browser import find_browser
from dashboard.report.content import About, gather
from dashboard.report.places_to_write import PLACES, Place
from dashboard.report.proposing import proposer
from dashboard.report.writing import write_report
from dashboard.state.dashboard_session import Session
from dashboard.state.jobs import Job
from dashboard.web import element_ids
from dashboard.web.filters import in_words
from dashboard.web.placing import placed

EVERY, WRITE, KEPT = "report-every", "report-write", "report-kept"
AREA = JobArea("report")
_LONGEST, _SHORT = 4000, 200


def place_id(name: str) -> str:
    """The id of the field of a place to write."""
    return f"report-{name}"


def controls(words: Mapping[str, str] | None = None) -> list[Any]:
    """The buttons, where the result appears, and the words of the authors (those already kept: `words`)."""
    kept = words or {}
    return [
        html.Div(
            [
                html.Button("Write the report", id=WRITE, className="button", type="button"),
                html.Button("Write it on every game", id=EVERY, className="button quiet", type="button"),
                *AREA.bar(),
            ],
            className="row",
        ),
        *AREA.rest(),
        html.Div([_field(place, kept.get(place.name)) for place in PLACES], className="places"),
        html.Div(
            "What you write is kept in the study when you leave a field.", id=KEPT, role="status", className="note"
        ),
    ]


def _field(place: Place, kept: str | None) -> html.Div:
    given = {"id": place_id(place.name), "value": kept, **unsaved("study")}
    if place.short:
        return field(place.label, dcc.Input(type="text", maxLength=_SHORT, **given))
    return field(place.label, dcc.Textarea(rows=2, maxLength=_LONGEST, placeholder=place.hint, **given))


def body(session: Session, selection: Selection | None) -> list[Any]:
    """The form, and what the report will hold."""
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
        html.Div(
            [
                html.Section([html.H2("What only you know"), *controls(session.words())], className="card"),
                html.Section(
                    [
                        html.H2("What will be in it"),
                        html.Ol(
                            [html.Li([html.B(heading), f": {words}"]) for heading, words in outline(session, selection)]
                        ),
                        note(f"It covers {in_words(selection)}. {hint}"),
                        note("Beside it: LaTeX, figures as SVG and PNG, tables as CSV, Markdown and LaTeX, BibTeX."),
                    ],
                    className="card",
                ),
            ],
            className="wide writing",
        )
    ]


def outline(session: Session, selection: Selection) -> list[tuple[str, str]]:
    """Each section of the report, with what will stand in it as things are, or what is missing."""
    basis = session.basis(selection)
    builds = [str(one) for one in session.ask("game_builds", game=selection.game)["build"]]
    compared = f"{builds[-2]} against {builds[-1]}" if len(builds) > 1 else "missing: a second build that was played"
    wanted = session.kept_targets(selection.game) is not None
    return [
        ("Summary", "question, answer, what was changed, whether it helped, what next, how sure"),
        ("The playtest", f"{counted(basis.players, 'player')}, {counted(basis.runs, 'run')}, {listed(builds)}"),
        (
            "The evidence",
            "the figures that bear on your targets"
            if wanted
            else "no target is kept, so the figures that matter most in such a game",
        ),
        (
            "The change",
            "the best proposal for your targets, and what is expected of it"
            if wanted
            else "missing: set a target on the page “What to change” first",
        ),
        ("Did it help?", compared),
        ("Limits", "what weakens all this"),
        ("What we did, and what we make of it", "yours to write"),
        ("Methods and sources", "those used"),
        ("Appendix", "all other findings, tunables, logs"),
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
    """Words -> study; button -> job -> links."""
    values = [State(place_id(place.name), "value") for place in PLACES]

    def said(words: tuple[str | None, ...]) -> dict[str, str]:
        return {place.name: (word or "")[:_LONGEST] for place, word in zip(PLACES, words, strict=True)}

    @app.callback(
        Output(KEPT, "children"),
        *[Input(place_id(place.name), "n_blur") for place in PLACES],
        *values,
        prevent_initial_call=True,
    )
    def keep(*given: Any) -> Any:
        words = said(given[len(PLACES) :])
        if words == session.words() or not (any(words.values()) or session.words()):
            return no_update
        session.keep_words(words)
        return "Kept in the study."

    @app.callback(
        *AREA.started,
        Input(WRITE, "n_clicks"),
        Input(EVERY, "n_clicks"),
        State(element_ids.ADDRESS, "search"),
        *values,
        prevent_initial_call=True,
    )
    def start(one: int | None, every: int | None, search: str | None, *words: str | None) -> Any:
        selection = session.chosen(search)
        if not (one or every) or selection is None:
            return AREA.NOTHING
        whole = callback_context.triggered_id == EVERY
        chosen = [session.of_game(game) for game in session.games()] if whole else [selection]
        try:
            for one_game in chosen:
                checked_builds(one_game)
        except WrongArgument as error:
            return AREA.refuse(ValueError(error.remedy))
        session.keep_words(said(words))
        about = About(**said(words))
        return AREA.start(session, lambda job: write(session, chosen, about, job), selection, (*chosen, about))

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
    lead="An argument of five to eight pages to hand in, with the doubt left in, that prints to a clean PDF.",
    body=body,
    controls=controls,
    wires=wires,
    follows=False,
)
