"""Play logs brought in by hand: chosen or dropped, each with its verdict."""

import base64
import binascii
import re
import tempfile
from pathlib import Path
from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from analysis.quality import judge
from analysis.selection import Selection
from analysis.words import counted
from dashboard.pages.page import Page
from dashboard.parts import cautions, role_form, testers_form
from dashboard.parts.dash_parts import note
from dashboard.parts.job_area import JobArea
from dashboard.state.dashboard_session import Session
from dashboard.state.jobs import Job
from dashboard.web import element_ids
from dashboard.web.guard import LARGEST_LOG
from dashboard.web.placing import placed_table
from ingest.study.store import NoPacket, could_read_more
from ingest.study.study_errors import CannotTakeIn
from ingest.study.taken_in import TakenIn, take_in

DROP, HELD = "import-drop", "import-held"
AREA = JobArea("import", of_runs=False)
_MEGABYTE = 1024 * 1024
_MOST_FILES = 200
_REFUSED = "not taken in"


def controls() -> list[Any]:
    """The place to drop logs, the form for roles, and last the place of the study's logs."""
    return [*_drop(), *testers_form.controls(), *role_form.controls(), html.Section(id=HELD, className="card wide")]


def _drop() -> list[Any]:
    """The place to drop logs, and where their verdicts appear."""
    return [
        dcc.Upload(
            html.Div(["Drop play logs here, or press to choose them"], className="drop"),
            id=DROP,
            multiple=True,
            max_size=LARGEST_LOG,
        ),
        html.Div(AREA.bar(), className="row"),
        *AREA.rest(**{"aria-live": "polite"}),
    ]


def body(session: Session, selection: Selection | None) -> list[Any]:
    """The drop area, and what the study holds already."""
    return [
        html.Section(
            [
                html.H2("Bring logs in"),
                *_drop(),
                note(
                    "The same log twice changes nothing, and one that has grown replaces itself. Up to "
                    f"{LARGEST_LOG // _MEGABYTE} MB a file; longer ones with `setscrew ingest`."
                ),
                note(cautions.PRIVACY, "caution"),
            ],
            className="card wide",
        ),
        testers_form.card(session),
        role_form.card(session),
        html.Section(held(session), id=HELD, className="card wide"),
    ]


def held(session: Session) -> list[Any]:
    """The logs that the study holds, with their counts."""
    columns = session.ask("captures_listed")
    names = {
        "name": "log",
        "received_at": "received",
        "bytes": "bytes",
        "runs": "runs",
        "events": "events",
        "rejected_packets": "bad packets",
        "missing_packets": "lost packets",
        "dropped_events": "dropped events",
        "unread_bytes": "unread bytes",
    }
    count = len(columns["name"])
    logs = {heading: [_cell(value) for value in columns[key]] for key, heading in names.items()}
    return [
        html.H2(f"In the study: {counted(count, 'log')}"),
        placed_table(logs, "Logs") if count else note("None yet."),
    ]


def _cell(value: Any) -> Any:
    if isinstance(value, str):
        return value[:19] if value[4:5] == "-" and value[10:11] == " " else value
    return int(value) if value is not None and value == value else None


def import_all(session: Session, files: list[tuple[str, bytes]], job: Job) -> list[tuple[str, str, str]]:
    """Ingests logs one after the other: (name, grade, words) of each. What is done stays done when it is cancelled."""
    verdicts: list[tuple[str, str, str]] = []
    imports: list[TakenIn] = []
    try:
        _import_each(session, files, job, verdicts, imports)
    finally:
        session.undo_imports(imports)
    return verdicts


def _import_each(
    session: Session,
    files: list[tuple[str, bytes]],
    job: Job,
    verdicts: list[tuple[str, str, str]],
    imports: list[TakenIn],
) -> None:
    lacking: dict[int, int] = {}  # file -> its capture

    def one(number: int, again: bool) -> tuple[str, str, str]:
        name, content = files[number]
        job.result = list(verdicts)

        def told(done: int, whole: int) -> None:
            job.report((number + done / max(whole, 1)) / len(files), name)

        told(0, 1)
        path = Path(folder) / safe_name(name)
        path.write_bytes(content)
        try:
            with session.writing() as study:
                result, taken_in = take_in(study, path, lambda log: session.import_log(log, told))
            if taken_in is not None and not again:
                imports.append(taken_in)
            if result.unread_bytes:
                lacking[number] = result.capture_id
            verdict = judge(result)
            words = f"{counted(result.runs, 'run')}, {counted(result.events, 'event')}. {verdict.words}"
            return name, f"{verdict.grade}, {'new' if again else result.status}", words
        except NoPacket as error:
            return name, _REFUSED, judge(error.counts).words
        except (OSError, ValueError, CannotTakeIn) as error:
            return name, _REFUSED, str(error)
        finally:
            path.unlink(missing_ok=True)

    with tempfile.TemporaryDirectory(prefix="setscrew-") as folder:
        for number in range(len(files)):
            verdicts.append(one(number, again=False))
        # A later log may have brought the dictionary that an earlier one lacks.
        with session.writing() as study:
            more = could_read_more(study)
        for number in [number for number, capture in lacking.items() if capture in more]:
            verdicts[number] = one(number, again=True)


# On Windows, whatever their ending ("Naming Files, Paths, and Namespaces", Microsoft).
_DEVICE = re.compile(r"(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9\u00b9\u00b2\u00b3])\s*(\.|$)", re.IGNORECASE)


def safe_name(name: str) -> str:
    """A file name of an upload without anything that could leave the folder it is put in, or mean a device there."""
    kept = "".join(letter if letter.isalnum() or letter in " ._-()" else "_" for letter in name)[-120:].strip(". ")
    return f"_{kept}" if _DEVICE.match(kept) else kept or "log.playlog"


def decoded(contents: list[str], names: list[str]) -> list[tuple[str, bytes]]:
    """Uploads as (name, bytes), by name: the browser hands them over as each was read, and attempts are counted in the
    order of the logs. Raises ValueError for what is no upload.
    """
    files = []
    for content, name in list(zip(contents, names, strict=True))[:_MOST_FILES]:
        try:
            files.append((str(name), base64.b64decode(content.partition(",")[2], validate=True)))
        except (binascii.Error, ValueError) as error:
            raise ValueError(f"{name} did not arrive whole; drop it again.") from error
    return sorted(files)


def wires(app: Dash, session: Session) -> None:
    """Drop -> job -> verdicts; study changed -> its logs."""

    @app.callback(
        *AREA.started,
        Output(DROP, "contents"),
        Input(DROP, "contents"),
        State(DROP, "filename"),
        prevent_initial_call=True,
    )
    def dropped(contents: list[str] | None, names: list[str] | None) -> Any:
        if not contents or not names:
            return *AREA.NOTHING, no_update
        files = decoded(contents, names)
        return *AREA.start(session, lambda job: import_all(session, files, job)), None

    # Whoever imports, records or takes back: the table is that of the study.
    @app.callback(Output(HELD, "children"), Input(element_ids.VERSION, "data"), prevent_initial_call=True)
    def changed(_: int) -> Any:
        return held(session)

    AREA.wire(app, session, verdict_list)
    role_form.wires(app, session)
    testers_form.wires(app, session)


def verdict_list(job: Job) -> Any:
    """Each log with its verdict."""
    items = [
        html.Li(
            [
                html.B(name),
                ": ",
                html.Span(grade, className="good" if grade.startswith("intact") else "bad"),
                ". ",
                words,
            ]
        )
        for name, grade, words in job.result or ()
    ]
    return html.Ul(items)


PAGE = Page(
    path="/import",
    group="Study",
    short="Import",
    title="Bring in play logs",
    lead="Logs that were recorded elsewhere. Each one gets a verdict on how far it can be trusted.",
    body=body,
    controls=controls,
    wires=wires,
    filtered=False,
    follows=False,
)
