"""The form on the page of imports by which roles are corrected, and the table of those that were."""

from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard.parts.dash_parts import field, note, unsaved
from dashboard.parts.job_area import JobArea
from dashboard.state.dashboard_session import Session
from dashboard.state.jobs import Job
from dashboard.web import element_ids
from ingest.said.roles import BadRole, Listed
from ingest.vocabulary import EventRole, FieldRole, TunableRole

NAME, ROLE, KEEP, HELD = "role-name", "role-role", "role-keep", "role-held"
AREA = JobArea("roles", of_runs=False)
_NONE = "none"


def controls(names: list[str] | None = None) -> list[Any]:
    """The form, and last the place of the corrections."""
    roles = dict.fromkeys(str(role) for roles in (EventRole, FieldRole, TunableRole) for role in roles)
    return [
        html.Div(
            [
                field(
                    "Kind, field or tunable (type a name, choose)",
                    dcc.Input(id=NAME, type="text", list="role-names", size="40", **unsaved("study")),
                    kind="grow",
                ),
                html.Datalist([html.Option(value=words) for words in names or ()], id="role-names"),
                field("Its role", dcc.Input(id=ROLE, type="text", list="role-roles", size="16", **unsaved("study"))),
                html.Datalist([html.Option(value=word) for word in (_NONE, *roles)], id="role-roles"),
                html.Button("Correct", id=KEEP, className="button", type="button"),
                *AREA.bar(),
            ],
            className="row",
        ),
        *AREA.rest(**{"aria-live": "polite"}),
        html.Div(held_of({}), id=HELD),
    ]


def card(session: Session) -> html.Section:
    """The form with what the study holds."""
    roles = session.roles()
    *form, held = controls([words(game, one) for game, listed in roles.items() for one in listed])
    held.children = told(session)
    return html.Section(
        [
            html.H2("Correct a role"),
            note(
                "Where a game's header gives something the wrong role, say the right one here. It holds for all logs "
                "of the game, also for those that come later; the logs stay as they are."
            ),
            *form,
            held,
        ],
        className="card wide",
    )


def words(game: str, one: Listed) -> str:
    """How a kind, field or tunable is named in the list."""
    return f"{game}: {one.what} {one.name}"


def told(session: Session) -> list[Any]:
    """The roles that the logs speak against, and the corrections that hold."""
    odd = [note(f"{game}: {one}.", "caution") for game, found in session.odd_roles().items() for one in found]
    return [*odd, held_of(session.roles())]


def held_of(roles: dict[str, list[Listed]]) -> Any:
    """The corrections that hold."""
    lines = [
        html.Li(f"{words(game, one)} is {one.role or 'without a role'}; the log says {one.logged or _NONE}.")
        for game, listed in roles.items()
        for one in listed
        if one.role != one.logged
    ]
    return html.Ul(lines) if lines else note("No role has been corrected.")


def correct(session: Session, name: str | None, role: str | None) -> str:
    """Corrects what is named as in the list; answers in words."""
    named = {words(game, one): (game, one) for game, listed in session.roles().items() for one in listed}
    found = named.get((name or "").strip())
    if found is None:
        return "Choose a kind, field or tunable from the list first."
    word = (role or "").strip()
    if not word:
        return f"Say which role it has; {_NONE} takes it away."
    game, one = found
    try:
        left = session.correct_role(game, one.what, one.name, None if word == _NONE else word)
    except BadRole as error:
        return str(error)
    return f"Kept. Undo takes it back. {left}".strip()


def wires(app: Dash, session: Session) -> None:
    """The button -> a job, since logs are read again; study changed -> its corrections."""

    @app.callback(
        *AREA.started, Input(KEEP, "n_clicks"), State(NAME, "value"), State(ROLE, "value"), prevent_initial_call=True
    )
    def keep(clicks: int | None, name: str | None, role: str | None) -> Any:
        if not clicks:
            return AREA.NOTHING

        def work(job: Job) -> str:
            job.report(0.0, "logs are read again")
            return correct(session, name, role)

        return AREA.start(session, work)

    @app.callback(Output(HELD, "children"), Input(element_ids.VERSION, "data"), prevent_initial_call=True)
    def changed(_: int) -> Any:
        return told(session)

    AREA.wire(app, session, lambda job: no_update if job.result is None else note(str(job.result)))
