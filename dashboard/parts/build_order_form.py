"""Which build was played first, where the logs do not tell: said by people who were there, kept in the study."""

from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from analysis.played_order import not_known, played_order
from analysis.words import capital
from dashboard.parts.dash_parts import field, note, unsaved
from dashboard.state.dashboard_session import Session
from dashboard.web import element_ids

FIRST, THEN, KEEP = "order-first", "order-then", "order-keep"
KEPT = "Kept. Undo takes it back."


def controls(builds: tuple[str, ...] = (), game: str = "") -> list[Any]:
    """The form; `builds` of `game` are offered."""

    def box(id_: str) -> dcc.Input:
        return dcc.Input(id=id_, type="text", list="builds-known", size="20", maxLength=120, **unsaved(game))

    return [
        html.Div(
            [
                field("Build played first", box(FIRST)),
                field("Build played after it", box(THEN)),
                html.Datalist([html.Option(value=build) for build in builds], id="builds-known"),
                html.Button("Keep the order", id=KEEP, className="button", type="button"),
            ],
            className="row",
        )
    ]


def section(session: Session, game: str) -> html.Section:
    """What is known of the order of the builds of a game, and the form."""
    order = played_order(session.reader, game)
    told = [note(capital(not_known(pair)) + ".", "caution") for pair in order.unknown_pairs()]
    if not told:
        told = [note("Played in this order: " + (", ".join(order.builds) or "nothing yet") + ".")]
    return html.Section(
        [html.H2("Which build came first?"), *told, *controls(order.builds, game)], className="card wide"
    )


def say(session: Session, game: str | None, first: str | None, then: str | None) -> str:
    """Keeps which of two builds was played first; answers in words."""
    try:
        session.note_order(game or "", [(first or "").strip()], (then or "").strip())
    except ValueError as error:
        return str(error)
    return KEPT


def wires(app: Dash, session: Session) -> None:
    """The form's button."""

    @app.callback(
        Output(element_ids.MESSAGE, "children", allow_duplicate=True),
        Output(FIRST, "value"),
        Output(THEN, "value"),
        Input(KEEP, "n_clicks"),
        State(element_ids.ADDRESS, "search"),
        State(FIRST, "value"),
        State(THEN, "value"),
        prevent_initial_call=True,
    )
    def keep(clicks: int | None, search: str | None, first: str | None, then: str | None) -> Any:
        selection = session.chosen(search)
        game = None if selection is None else selection.game
        if not clicks:
            return no_update, no_update, no_update
        answer = say(session, game, first, then)
        return html.Div(answer), *(("", "") if answer == KEPT else (no_update, no_update))
