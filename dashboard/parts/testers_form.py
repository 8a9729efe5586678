"""How the people who played were found: no log shows it, so it is asked, and kept in the study."""

from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard.parts.dash_parts import field, note, unsaved
from dashboard.state.dashboard_session import Session
from dashboard.web import element_ids
from ingest.vocabulary import RECRUITMENT_WORDS, Recruitment

FOUND, KEEP = "testers-found", "testers-keep"


def controls(said: Recruitment = Recruitment.UNKNOWN) -> list[Any]:
    """The form; `said`: what the study says now."""
    ways = html.Datalist([html.Option(value=words) for words in RECRUITMENT_WORDS.values()], id="testers-ways")
    now = RECRUITMENT_WORDS[said]
    box = dcc.Input(id=FOUND, type="text", list="testers-ways", size="34", value=now, **unsaved("study"))
    button = html.Button("Keep", id=KEEP, className="button", type="button")
    return [html.Div([field("The people who played were", box, ways, kind="grow"), button], className="row")]


def card(session: Session) -> html.Section:
    """The question and its form."""
    return html.Section(
        [
            html.H2("How were the players found?"),
            *controls(session.testers()),
            note(
                "Friends, and people who play much, mostly die less often than the audience a game is made for. Left "
                "unsaid, the players are taken for friends. Every proposal holds the doubt of it."
            ),
        ],
        className="card wide",
    )


def say(session: Session, words: str | None) -> str:
    """Keeps what was said; answers in words."""
    said = (words or "").strip()
    found = next((way for way, name in RECRUITMENT_WORDS.items() if said in (way, name)), None)
    if found is None:
        return f"Choose one of: {'; '.join(RECRUITMENT_WORDS.values())}."
    session.note_testers(found)
    return "Kept. Undo takes it back."


def wires(app: Dash, session: Session) -> None:
    """The form's button."""

    @app.callback(
        Output(element_ids.MESSAGE, "children", allow_duplicate=True),
        Input(KEEP, "n_clicks"),
        State(FOUND, "value"),
        prevent_initial_call=True,
    )
    def keep(clicks: int | None, words: str | None) -> Any:
        return html.Div(say(session, words)) if clicks else no_update
