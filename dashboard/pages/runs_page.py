"""Every run, with what people say of it: whose it was, a remark, or why it does not count."""

from datetime import UTC, datetime
from shlex import quote
from typing import Any

import numpy as np
from dash import Dash, Input, Output, State, dcc, html, no_update
from markupsafe import Markup

from analysis.selection import Selection
from analysis.words import cell, counted
from dashboard.pages.page import Page
from dashboard.pages.question_pages import nothing_ingested
from dashboard.parts import build_order_form, cautions
from dashboard.parts.dash_parts import field, note, served, unsaved
from dashboard.state.dashboard_session import Session
from dashboard.web import element_ids
from dashboard.web.filters import game_address
from dashboard.web.html_tables import table
from dashboard.web.opened import NOTHING, Opened
from dashboard.web.placing import placed
from ingest.capture.player_tag import BadTag, player_tag

_MOST = 400
RUN, TAG, REMARK, REASON = "run-chosen", "run-tag", "run-remark", "run-reason"
KEEP, MARK, UNMARK = "run-keep", "run-mark", "run-unmark"


def controls(runs: list[str] | None = None, chosen: str = "", game: str = "") -> list[Any]:
    """The form. What is written in it on runs of `game` is there again when its page is left and come back to."""
    own = unsaved(game)
    return [
        html.Div(
            [
                field(
                    "Run (type a tag, choose)",
                    dcc.Input(id=RUN, type="text", list="runs-known", size="40", value=chosen, **own),
                    kind="grow",
                ),
                html.Datalist([html.Option(value=words) for words in runs or ()], id="runs-known"),
                field("Player tag", dcc.Input(id=TAG, type="text", maxLength=4, size="6", placeholder="P07", **own)),
                field("Remark", dcc.Input(id=REMARK, type="text", maxLength=400, size="36", **own), kind="grow"),
                html.Button("Keep", id=KEEP, className="button", type="button"),
            ],
            className="row",
        ),
        html.Div(
            [
                field(
                    "Reason why the run does not count",
                    dcc.Input(id=REASON, type="text", maxLength=400, size="36", **own),
                    kind="grow",
                ),
                html.Button("Mark as not valid", id=MARK, className="button quiet", type="button"),
                html.Button("Let it count again", id=UNMARK, className="button quiet", type="button"),
            ],
            className="row",
        ),
    ]


def body(session: Session, selection: Selection | None) -> list[Any]:
    """The form and the list."""
    return opened_body(session, selection, NOTHING)


def opened_body(session: Session, selection: Selection | None, opened: Opened) -> list[Any]:
    """The form and the list, with the run that the address opens chosen in both."""
    if selection is None:
        return [placed(nothing_ingested(session))]
    runs = session.ask("runs_listed", game=selection.game, most=_MOST)
    known = [_words(runs, i) for i in range(len(runs["run_id"]))]
    chosen = [words for words, run_id in zip(known, runs["run_id"], strict=True) if run_id == opened.run]
    asked = game_address(selection.game) + Opened(run=opened.run).words()
    address = f"/runs.html{asked}&version={session.version}"
    missing = f"The run you came for is none of the last {counted(_MOST, 'run')} of this game."
    form = [
        html.H2("Say something about a run"),
        note("Nothing is deleted: a run marked as not valid stays here with its reason, and no finding uses it."),
        note(
            "A player who withdraws is deleted on the command line, for good: "
            f"setscrew forget --study {quote(session.study.path.name)} --player P07"
        ),
        *_open_ones(runs),
        *([note(missing, "caution")] if opened.run is not None and not chosen else []),
        *controls(known, "".join(chosen), selection.game),
        note(cautions.PRIVACY, "caution"),
    ]
    return [
        html.Section(form, className="card wide"),
        html.Section(
            [html.H2(f"Runs of {selection.game}, the newest first"), served(address, "Runs")], className="card wide"
        ),
        build_order_form.section(session, selection.game),
    ]


def _open_ones(runs: Any) -> list[Any]:
    """What to do about runs of which it is open who played them."""
    count = int(np.sum(runs["open"]))
    if not count:
        return []
    return [
        note(
            f"Who played {counted(count, 'run')} here is open. No finding uses them: choose each, give it the tag of "
            "its player, and Keep.",
            "caution",
        )
    ]


def runs_table(session: Session, game: str, chosen: int | None = None) -> Markup:
    """The list, as HTML; the run `chosen` is marked."""
    runs = session.ask("runs_listed", game=game, most=_MOST)
    names = ["player", "played", "attempt", "build", "alive", "end", "deaths", "log", "run", "said of it"]
    lines, marks = [], []
    for i in range(len(runs["run_id"])):
        valid = bool(runs["valid"][i])
        said = [
            text
            for text in (
                runs["remark"][i],
                _BEGUN.get(runs["begun"][i]),
                "the log is damaged here" if runs["damaged"][i] else None,
            )
            if text
        ]
        if not valid:
            said.insert(0, f"not valid: {runs['invalid_reason'][i]}")
        line = [
            _who(runs, i),
            _played(runs["played_at"][i], "%Y-%m-%d %H:%M") or "–",
            int(runs["attempt"][i]),
            runs["build"][i],
            f"{cell(float(round(runs['alive_s'][i], 1)))} s",
            _END.get(runs["ending"][i], runs["ending"][i]),
            int(runs["deaths"][i]),
            runs["capture"][i],
            int(runs["number"][i]),
            "; ".join(map(str, said)),
        ]
        lines.append(line)
        current = {"aria-current": "true"} if runs["run_id"][i] == chosen else {}
        marks.append(({} if valid else {"class": "struck"}) | current)
    return table({name: [line[at] for line in lines] for at, name in enumerate(names)}, marks=marks)


_END = {"finished": "finished", "game_over": "game over", "quit": "quit", "cut": "cut: the log ends"}


_BEGUN = {"lost": "its start was lost", "before": "it began before the recording"}


def _who(runs: Any, i: int) -> str:
    """The player's tag, or that there is none, or between which tags somebody has to decide."""
    if runs["tagged"][i]:
        return str(runs["player"][i])
    if runs["open"][i]:
        return f"open: {runs['candidates'][i]}" if runs["candidates"][i] else "open"
    return "no tag"


def _played(utc: str | None, pattern: str) -> str:
    """When a run began, by this machine's clock; "" where nobody knows. People remember the time of day."""
    return datetime.fromisoformat(utc).replace(tzinfo=UTC).astimezone().strftime(pattern) if utc else ""


def _words(runs: Any, i: int) -> str:
    alive = cell(float(round(runs["alive_s"][i], 1)))
    played = _played(runs["played_at"][i], "at %H:%M, ")
    return (
        f"{_who(runs, i)}, attempt {int(runs['attempt'][i])}, {played}{alive} s, {_END.get(runs['ending'][i])}, "
        f"run {int(runs['number'][i])} of {runs['capture'][i]}"
    )


def say(session: Session, game: str | None, run: str | None, **what: Any) -> str:
    """Keeps what somebody said about a run, which is named as in the list; answers in words."""
    runs = session.ask("runs_listed", game=game or "", most=_MOST)
    found = [i for i in range(len(runs["run_id"])) if _words(runs, i) == (run or "").strip()]
    if not found:
        return "Choose a run from the list first."
    try:
        if what.get("player"):
            what["player"] = player_tag(what["player"])
        session.note_run(str(runs["capture_key"][found[0]]), int(runs["number"][found[0]]), **what)
    except (BadTag, ValueError) as error:
        return str(error)
    return "Kept. Undo takes it back."


def game_of(session: Session, search: str | None) -> str | None:
    """The game that an address speaks of."""
    selection = session.chosen(search)
    return None if selection is None else selection.game


def wires(app: Dash, session: Session) -> None:
    """The forms' buttons."""
    build_order_form.wires(app, session)

    @app.callback(
        Output(element_ids.MESSAGE, "children", allow_duplicate=True),
        Output(TAG, "value"),
        Output(REMARK, "value"),
        Input(KEEP, "n_clicks"),
        State(element_ids.ADDRESS, "search"),
        State(RUN, "value"),
        State(TAG, "value"),
        State(REMARK, "value"),
        prevent_initial_call=True,
    )
    def keep(clicks: int | None, search: str | None, run: str | None, tag: str | None, remark: str | None) -> Any:
        if not clicks:
            return no_update, no_update, no_update
        return html.Div(say(session, game_of(session, search), run, player=tag, remark=remark)), "", ""

    @app.callback(
        Output(element_ids.MESSAGE, "children", allow_duplicate=True),
        Output(REASON, "value"),
        Input(MARK, "n_clicks"),
        State(element_ids.ADDRESS, "search"),
        State(RUN, "value"),
        State(REASON, "value"),
        prevent_initial_call=True,
    )
    def mark(clicks: int | None, search: str | None, run: str | None, reason: str | None) -> Any:
        return (
            (html.Div(say(session, game_of(session, search), run, valid=False, reason=reason)), "")
            if clicks
            else (no_update, no_update)
        )

    @app.callback(
        Output(element_ids.MESSAGE, "children", allow_duplicate=True),
        Input(UNMARK, "n_clicks"),
        State(element_ids.ADDRESS, "search"),
        State(RUN, "value"),
        prevent_initial_call=True,
    )
    def unmark(clicks: int | None, search: str | None, run: str | None) -> Any:
        return html.Div(say(session, game_of(session, search), run, valid=True)) if clicks else no_update


PAGE = Page(
    path="/runs",
    group="Study",
    short="Runs and notes",
    title="Which runs are these?",
    lead="Whose run it was, what happened meanwhile, and which runs do not count. The last "
    f"{counted(_MOST, 'run')} of the game.",
    body=body,
    opened_body=opened_body,
    controls=lambda: [*controls(), *build_order_form.controls()],
    wires=wires,
    ignores=(("any", "All runs of the game stand here, whatever else is chosen."),),
)
