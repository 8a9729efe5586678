"""At the table: consoles recorded while people play, each with its next player, its run, its damage and its drops."""

from typing import Any

from dash import ALL, MATCH, Dash, Input, Output, State, callback_context, dcc, html, no_update

from analysis.selection import Selection
from analysis.words import cell
from dashboard.figures.live_figures import ENDINGS
from dashboard.pages.page import Page
from dashboard.parts import cautions
from dashboard.parts.console_card import act, console_card, state
from dashboard.parts.dash_parts import field, graph, note
from dashboard.state.dashboard_session import Session
from dashboard.web import element_ids
from ingest.capture.first_bytes import USUAL_BAUDS
from ingest.capture.sources import CannotOpen, serial_ports

PORT, SPEED, START = "live-port", "live-baud", "live-start"
CONSOLES, NAMES, LAST, RECENT = "live-consoles", "live-names", "live-last", "live-recent"
RECENT_RUNS = 40
_BAUDS = (*USUAL_BAUDS, 1_000_000)


def controls() -> list[Any]:
    """Starting a recording, and the consoles that are recorded."""
    known = [html.Option(value=p.name, label=f"{p.name}  {p.description}".strip()) for p in serial_ports()]
    return [
        html.Div(
            [
                field(
                    "Serial port",
                    dcc.Input(
                        id=PORT,
                        type="text",
                        maxLength=200,
                        size="28",
                        list="live-ports",
                        placeholder="COM3, /dev/ttyACM0, tcp:host:port",
                    ),
                    html.Datalist(known, id="live-ports"),
                    kind="grow",
                ),
                field(
                    "Baud rate",
                    dcc.Input(
                        id=SPEED,
                        type="number",
                        min=300,
                        max=12_000_000,
                        step=1,
                        value=None,
                        list="live-bauds",
                        placeholder="any usual",
                    ),
                    html.Datalist([html.Option(value=str(baud)) for baud in _BAUDS], id="live-bauds"),
                ),
                html.Button("Start recording", id=START, className="button", type="button"),
            ],
            className="row",
        ),
        dcc.Store(id=NAMES),
        html.Div(id=CONSOLES, className="consoles"),
        html.Div(id=LAST, className="last-run"),
        html.Div(id=RECENT),
    ]


def body(session: Session, selection: Selection | None) -> list[Any]:
    """Who plays next and the last run, then the last runs; on top of them the controls while nothing is recorded."""
    if session.captures is None:
        return [
            html.Section(note("This dashboard was started without a folder for recordings."), className="card wide")
        ]
    start, names, consoles, last, recent = controls()
    # What is known already is there at once: nothing below it jumps when the clock ticks.
    names.data = _recorded(session)
    consoles.children = [console_card(name) for name in names.data]
    last.children, recent.children = last_runs(session)
    found = [port.name for port in serial_ports()]
    hint = (
        "Ports that are there: " + ", ".join(found) + "." if found else "No serial port is there: plug the adapter in."
    )
    return [
        html.Div([names, consoles, last], className="wide table-side"),
        html.Section([html.H2("The last runs"), recent], className="card wide"),
        html.Section(
            [
                html.H2("Record a console"),
                start,
                note(f"{hint} Without a baud rate the usual ones are tried. {_kept(session)}"),
                note(cautions.WIRING, "caution"),
                note(cautions.PRIVACY, "caution"),
            ],
            className="card wide starting",
        ),
        html.Section(
            [html.H2("At the table"), note(cautions.FLASHING, "caution"), note(cautions.SOUND, "caution")],
            className="card wide",
        ),
    ]


def _recorded(session: Session) -> list[str]:
    """The consoles that are recorded, by the names of their ports."""
    return [status.source for status in session.captures.statuses()] if session.captures is not None else []


def _kept(session: Session) -> str:
    """What becomes of the recordings."""
    if session.thrown_away:
        return (
            "This study is for looking around: it and everything recorded here are deleted when the dashboard ends. "
            "To keep recordings, open a study of your own: setscrew show --study FILE."
        )
    folder = session.captures.folder if session.captures is not None else ""
    return f"Recordings are kept in {folder}, byte for byte; closing this page loses nothing."


def wires(app: Dash, session: Session) -> None:
    """Start, the clock, and each console's buttons."""

    @app.callback(
        Output(element_ids.MESSAGE, "children", allow_duplicate=True),
        Input(START, "n_clicks"),
        State(PORT, "value"),
        State(SPEED, "value"),
        prevent_initial_call=True,
    )
    def start(clicks: int | None, port: str | None, baud: int | None) -> Any:
        if not clicks or session.captures is None:
            return no_update
        if not (port or "").strip():
            return html.Div("Name the serial port first.")
        try:
            return html.Div(f"Recording from {session.captures.start((port or '').strip(), baud)}.")
        except CannotOpen as error:
            return html.Div(str(error))

    @app.callback(
        Output(CONSOLES, "children"),
        Output(NAMES, "data"),
        Input(element_ids.CLOCK, "n_intervals"),
        Input(START, "n_clicks"),
        State(NAMES, "data"),
    )
    def show_consoles(_: int | None, __: int | None, shown: list[str] | None) -> Any:
        names = _recorded(session)
        return (no_update, no_update) if names == shown else ([console_card(name) for name in names], names)

    @app.callback(
        Output({"type": "live-state", "name": MATCH}, "children"),
        Input(element_ids.CLOCK, "n_intervals"),
        State({"type": "live-state", "name": MATCH}, "id"),
    )
    def show_state(_: int | None, which: dict[str, str]) -> Any:
        if session.captures is None:
            return no_update
        status = session.captures.status(which["name"])
        trouble = session.follower.trouble.get(status.path.name) if session.follower is not None else None
        return state(status, trouble)

    @app.callback(
        Output(element_ids.MESSAGE, "children", allow_duplicate=True),
        Input({"type": "live-next", "name": ALL}, "n_clicks"),
        Input({"type": "live-now", "name": ALL}, "n_clicks"),
        Input({"type": "live-back", "name": ALL}, "n_clicks"),
        Input({"type": "live-note", "name": ALL}, "n_clicks"),
        Input({"type": "live-stop", "name": ALL}, "n_clicks"),
        State({"type": "live-tag", "name": ALL}, "value"),
        State({"type": "live-remark", "name": ALL}, "value"),
        # Not NAMES: when the page is left, Dash asks this with the cards gone, and what is gone too it may not name.
        State({"type": "live-tag", "name": ALL}, "id"),
        prevent_initial_call=True,
    )
    def press(*values: Any) -> Any:
        tags, remarks, cards = values[5:]
        names = [card["name"] for card in cards]
        pressed = callback_context.triggered_id
        if not isinstance(pressed, dict) or not callback_context.triggered[0]["value"] or pressed["name"] not in names:
            return no_update
        i = names.index(pressed["name"])
        return html.Div(act(session, pressed["type"], pressed["name"], tags[i], remarks[i]))

    @app.callback(
        Output(LAST, "children"),
        Output(RECENT, "children"),
        Input(element_ids.VERSION, "data"),
        Input(element_ids.ADDRESS, "pathname"),
    )
    def show_recent(_: int | None, path: str | None) -> Any:
        return last_runs(session) if path == "/live" else (no_update, no_update)


def last_runs(session: Session) -> tuple[Any, Any]:
    """The run that came last in large words, and the runs that came last as a figure; of whatever game."""
    runs = session.ask("runs_recent", most=RECENT_RUNS)
    if not len(runs["run_id"]):
        return [], note("No run has been ingested yet. The first one appears here within two seconds of its end.")
    lasted = f"{cell(float(round(runs['alive_s'][0], 1)))} s"
    last = [
        html.Dl(
            [html.Div([html.Dt(f"last run, {runs['game'][0]}"), html.Dd([f"{runs['player'][0]}, {lasted}"])])],
            className="facts large",
        ),
        note(ENDINGS[str(runs["ending"][0])]),
    ]
    address = f"/recent-runs.json?version={session.version}"
    return last, graph(address, "The last runs, by how long they lasted and how they ended")


PAGE = Page(
    path="/live",
    group="Study",
    short="Live",
    title="What is happening now?",
    lead="Record consoles while people play. Every page follows the recording.",
    body=body,
    controls=controls,
    wires=wires,
    filtered=False,
    follows=False,
)
