"""Every run, with what people say of it: whose it was, a remark, or why it does not count."""

from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from analysis.selection import Selection
from dashboard import cautions
from dashboard.cards import note, served
from dashboard.filters import to_address
from dashboard.ids import MESSAGE
from dashboard.page import Page
from dashboard.pages.questions import nothing_ingested
from dashboard.palette import Theme
from dashboard.report.markup import Markup, tag
from dashboard.session import Session
from dashboard.wording import counted, number
from ingest.player_tag import BadTag, player_tag

_MOST = 400
RUN, TAG, REMARK, REASON = "run-chosen", "run-tag", "run-remark", "run-reason"
KEEP, MARK, UNMARK = "run-keep", "run-mark", "run-unmark"


def controls(options: list[dict[str, str]] | None = None) -> list[Any]:
    """The form."""
    return [
        html.Div(
            [
                _field(
                    "Run", dcc.Dropdown(id=RUN, options=options or [], placeholder="choose a run"), "grow"
                ),
                _field(
                    "Player tag", dcc.Input(id=TAG, type="text", maxLength=4, size="6", placeholder="P07")
                ),
                _field("Remark", dcc.Input(id=REMARK, type="text", maxLength=400, size="36"), "grow"),
                html.Button("Keep", id=KEEP, className="button", type="button"),
            ],
            className="row",
        ),
        html.Div(
            [
                _field(
                    "Reason why the run does not count",
                    dcc.Input(id=REASON, type="text", maxLength=400, size="36"),
                    "grow",
                ),
                html.Button("Mark as not valid", id=MARK, className="button quiet", type="button"),
                html.Button("Let it count again", id=UNMARK, className="button quiet", type="button"),
            ],
            className="row",
        ),
    ]


def body(session: Session, selection: Selection | None, theme: Theme) -> list[Any]:
    """The form and the list."""
    if selection is None:
        return [nothing_ingested()]
    runs = session.ask("runs_listed", game=selection.game, most=_MOST)
    rows = range(len(runs["run_id"]))
    options = [
        {"label": _words(runs, i), "value": f"{runs['capture_key'][i]}:{int(runs['number'][i])}"}
        for i in rows
    ]
    address = f"/runs.html{to_address(Selection(game=selection.game))}&version={session.version}"
    form = [
        html.H2("Say something about a run"),
        note(
            "Nothing is deleted: a run marked as not valid stays here with its reason, and no finding uses it."
        ),
        *controls(options),
        note(cautions.PRIVACY, "caution"),
    ]
    return [
        html.Section(form, className="card wide"),
        html.Section(
            [html.H2(f"Runs of {selection.game}, the newest first"), served(address, "Runs")],
            className="card wide",
        ),
    ]


def runs_table(session: Session, game: str) -> Markup:
    """The list, as HTML."""
    runs = session.ask("runs_listed", game=game, most=_MOST)
    names = ["player", "attempt", "build", "alive", "end", "deaths", "log", "run", "said of it"]
    lines = []
    for i in range(len(runs["run_id"])):
        valid = bool(runs["valid"][i])
        said = [
            text
            for text in (runs["remark"][i], "the log is damaged here" if runs["damaged"][i] else None)
            if text
        ]
        if not valid:
            said.insert(0, f"not valid: {runs['invalid_reason'][i]}")
        cells = [
            runs["player"][i] if runs["tagged"][i] else "no tag",
            number(int(runs["attempt"][i])),
            runs["build"][i],
            f"{number(float(round(runs['alive_s'][i], 1)))} s",
            _END.get(runs["ending"][i], runs["ending"][i]),
            number(int(runs["deaths"][i])),
            runs["capture"][i],
            number(int(runs["number"][i])),
            "; ".join(map(str, said)),
        ]
        lines.append(
            tag("tr", [tag("td", cell) for cell in cells], **({} if valid else {"class_": "struck"}))
        )
    return tag(
        "table",
        tag("thead", tag("tr", [tag("th", name, scope="col") for name in names])),
        tag("tbody", lines),
    )


_END = {"finished": "finished", "game_over": "game over", "quit": "quit", "cut": "cut: the log ends"}


def _words(runs: Any, i: int) -> str:
    who = runs["player"][i] if runs["tagged"][i] else "no tag"
    alive = number(float(round(runs["alive_s"][i], 1)))
    return f"{who}, attempt {int(runs['attempt'][i])}, {alive} s, {_END.get(runs['ending'][i])}, {runs['capture'][i]}"


def _field(label: str, control: Any, kind: str = "") -> html.Div:
    return html.Div([html.Label(label, htmlFor=control.id), control], className=f"field {kind}")


def say(session: Session, run: str | None, **what: Any) -> str:
    """Keeps what somebody said about a run (`capture key:number`), and answers in words."""
    if not run or ":" not in run:
        return "Choose a run first."
    key, _, run_number = run.rpartition(":")
    try:
        if what.get("player"):
            what["player"] = player_tag(what["player"])
        session.note_run(key, int(run_number), **what)
    except (BadTag, ValueError) as error:
        return str(error)
    return "Kept. Undo takes it back."


def wires(app: Dash, session: Session) -> None:
    """The form's buttons."""

    @app.callback(
        Output(MESSAGE, "children", allow_duplicate=True),
        Output(TAG, "value"),
        Output(REMARK, "value"),
        Input(KEEP, "n_clicks"),
        State(RUN, "value"),
        State(TAG, "value"),
        State(REMARK, "value"),
        prevent_initial_call=True,
    )
    def keep(clicks: int | None, run: str | None, tag: str | None, remark: str | None) -> Any:
        if not clicks:
            return no_update, no_update, no_update
        return html.Div(say(session, run, player=tag, remark=remark)), "", ""

    @app.callback(
        Output(MESSAGE, "children", allow_duplicate=True),
        Output(REASON, "value"),
        Input(MARK, "n_clicks"),
        State(RUN, "value"),
        State(REASON, "value"),
        prevent_initial_call=True,
    )
    def mark(clicks: int | None, run: str | None, reason: str | None) -> Any:
        return (
            (html.Div(say(session, run, valid=False, reason=reason)), "")
            if clicks
            else (no_update, no_update)
        )

    @app.callback(
        Output(MESSAGE, "children", allow_duplicate=True),
        Input(UNMARK, "n_clicks"),
        State(RUN, "value"),
        prevent_initial_call=True,
    )
    def unmark(clicks: int | None, run: str | None) -> Any:
        return html.Div(say(session, run, valid=True)) if clicks else no_update


PAGE = Page(
    path="/runs",
    group="Study",
    short="Runs and notes",
    title="Which runs are these?",
    lead=f"Whose run it was, what happened meanwhile, and which runs do not count. The last {counted(_MOST, 'run')} of the game.",
    body=body,
    controls=controls,
    wires=wires,
)
