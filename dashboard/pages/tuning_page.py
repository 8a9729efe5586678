"""What should I change: targets, proposals with their doubt, sliders to try values, and the header to flash."""

from typing import Any

from dash import ALL, Dash, Input, Output, State, callback_context, dcc, html, no_update

from analysis.selection import Selection
from analysis.tuning.target_file import BadTargets, read_targets
from dashboard.pages.page import Page
from dashboard.pages.question_pages import none_chosen, nothing_ingested
from dashboard.parts import closer_look
from dashboard.parts.dash_parts import note
from dashboard.parts.job_area import JobArea
from dashboard.parts.proposal_cards import results, tried
from dashboard.state.dashboard_session import Session
from dashboard.state.tuning_desk import accept, work
from dashboard.web import element_ids
from dashboard.web.placing import placed
from ingest.vocabulary import RECRUITMENT_WORDS

TEXT, ADD, KEEP, PROPOSE = "targets-text", "target-add", "targets-keep", "tuning-propose"
OUTCOME, WHICH, WANTED = "target-outcome", "target-which", "target-wanted"
AREA = JobArea("tuning")

# Outcome -> (words, the word of TARGETS.md for its number).
_OUTCOMES = {
    "reach_stage": ("reach stage …", "stage"),
    "finish": ("finish the game", ""),
    "finish_within": ("finish within … attempts", "attempts"),
    "survive": ("stay alive for … seconds", "seconds"),
    "hit_share": ("hit so much of the notes or trials (median player)", ""),
    "streak": ("start with … in a row", "length"),
    "level_reached": ("reach level …", "level"),
    "quit_share": ("quit before the end (as few as)", ""),
    "run_length": ("play for so many seconds a run", ""),
}


def controls(text: str = "") -> list[Any]:
    """Targets, buttons, and the places of their answers."""
    outcomes = [words for words, _ in _OUTCOMES.values()]
    return [
        html.Div(
            [
                html.Div(
                    [
                        html.Label("First-time players should", htmlFor=OUTCOME),
                        dcc.Input(
                            id=OUTCOME,
                            type="text",
                            list="target-outcomes",
                            size="44",
                            placeholder="click for the list",
                            value="",
                        ),
                        html.Datalist([html.Option(value=words) for words in outcomes], id="target-outcomes"),
                    ],
                    className="field grow",
                ),
                html.Div(
                    [
                        html.Label("number in place of …", htmlFor=WHICH),
                        dcc.Input(id=WHICH, type="text", size="4", maxLength=6, value="2"),
                    ],
                    className="field",
                ),
                html.Div(
                    [
                        html.Label("wanted", htmlFor=WANTED),
                        dcc.Input(id=WANTED, type="text", size="6", maxLength=12, value="60 %"),
                    ],
                    className="field",
                ),
                html.Button("Add this target", id=ADD, className="button quiet", type="button"),
            ],
            className="row",
        ),
        html.Div(
            [
                html.Label("The targets, as a file", htmlFor=TEXT),
                dcc.Textarea(id=TEXT, value=text, rows=9, spellCheck=False, maxLength=100_000),
            ],
            className="field",
        ),
        html.Div(
            [
                html.Button("Propose", id=PROPOSE, className="button", type="button"),
                html.Button("Keep the targets", id=KEEP, className="button quiet", type="button"),
                *AREA.bar(),
            ],
            className="row",
        ),
        *AREA.rest("wide cards"),
    ]


def body(session: Session, selection: Selection | None) -> list[Any]:
    """The target form; proposals follow when they were asked for."""
    if selection is None:
        return [placed(nothing_ingested(session))]
    if session.basis(selection.of_every_build()).runs == 0:
        return [placed(none_chosen(selection))]
    kept = session.ask("game_targets", game=selection.game)
    text = str(kept["target_toml"][0]) if len(kept["target_toml"]) else f'game = "{_toml(selection.game)}"\n'
    *form, result = controls(text)
    when = (
        f"Kept on {str(kept['noted_at'][0])[:16]} UTC."
        if len(kept["noted_at"])
        else "Not kept yet: keep them before you look at the proposals."
    )
    return [
        html.Section(
            [
                html.H2("What do you want of the game?"),
                *form,
                note(
                    f"How the people who played were found: {RECRUITMENT_WORDS[session.testers()]}. Say it on the page "
                    'Import, or among the targets: [playtest] testers = "audience", "volunteers" or "friends".'
                ),
                note(f"{when} Population, tolerance, weights and which tunables may move: analysis/tuning/TARGETS.md."),
            ],
            className="card wide",
        ),
        result,
    ]


def with_target(text: str, outcome: str, which: str, wanted: str) -> str:
    """The targets file with one more target. Raises BadTargets when it is not one."""
    key = next((key for key, (words, _) in _OUTCOMES.items() if outcome.strip() in (words, key)), None)
    if key is None:
        raise BadTargets("choose one of the outcomes in the list")
    word = _OUTCOMES[key][1]
    lines = ["", "[[target]]", f'outcome = "{key}"']
    if word:
        lines.append(f"{word} = {which.strip() or 1}")
    number = wanted.strip().replace(".", "", 1).isdecimal()
    lines.append(f"wanted = {wanted.strip()}" if number else f'wanted = "{_toml(wanted.strip())}"')
    longer = text.rstrip() + "\n" + "\n".join(lines) + "\n"
    read_targets(longer)
    return longer


def _toml(text: str) -> str:
    kept = "".join(letter for letter in text if letter >= " ")
    return kept.replace("\\", "\\\\").replace('"', '\\"')


def wires(app: Dash, session: Session) -> None:
    """Form -> targets; button -> job -> cards; sliders -> prediction."""

    @app.callback(
        Output(TEXT, "value"),
        Output(element_ids.MESSAGE, "children", allow_duplicate=True),
        Input(ADD, "n_clicks"),
        State(TEXT, "value"),
        State(OUTCOME, "value"),
        State(WHICH, "value"),
        State(WANTED, "value"),
        prevent_initial_call=True,
    )
    def add(clicks: int | None, text: str | None, outcome: str | None, which: str | None, wanted: str | None) -> Any:
        if not clicks:
            return no_update, no_update
        try:
            return with_target(text or "", outcome or "", which or "", wanted or ""), no_update
        except BadTargets as error:
            return no_update, html.Div(str(error))

    @app.callback(
        Output(element_ids.MESSAGE, "children", allow_duplicate=True),
        Input(KEEP, "n_clicks"),
        State(TEXT, "value"),
        State(element_ids.ADDRESS, "search"),
        prevent_initial_call=True,
    )
    def keep(clicks: int | None, text: str | None, search: str | None) -> Any:
        selection = session.chosen(search)
        if not clicks or selection is None:
            return no_update
        try:
            read_targets(text or "")
        except BadTargets as error:
            return html.Div(str(error))
        session.add_target(selection.game, text or "")
        return html.Div("The targets are kept, with the time. Undo takes them back.")

    @app.callback(
        *AREA.started,
        Input(PROPOSE, "n_clicks"),
        State(TEXT, "value"),
        State(element_ids.ADDRESS, "search"),
        prevent_initial_call=True,
    )
    def propose(clicks: int | None, text: str | None, search: str | None) -> Any:
        selection = session.chosen(search)
        if not clicks or selection is None:
            return AREA.NOTHING
        try:
            read_targets(text or "")
        except BadTargets as error:
            return AREA.refuse(error)
        return AREA.start(session, lambda job: work(session, selection, text or "", job), selection, text or "")

    AREA.wire(app, session, lambda job: results(job.result, job.number))

    closer_look.wires(app, session, AREA)

    @app.callback(
        Output({"type": "tried", "at": ALL}, "children"),
        Input({"type": "try", "tunable": ALL}, "value"),
        State({"type": "try", "tunable": ALL}, "id"),
        State(AREA.job, "data"),
        prevent_initial_call=True,
    )
    def try_values(values: list[int], names: list[dict[str, str]], number_of_job: int | None) -> Any:
        job = session.jobs.get(number_of_job)
        if job is None or job.result is None or not values:
            return [no_update] * len(callback_context.outputs_list)
        setting = {name["tunable"]: round(value) for name, value in zip(names, values, strict=True)}
        return [tried(job.result, setting)]

    @app.callback(
        Output(element_ids.MESSAGE, "children", allow_duplicate=True),
        Input({"type": "accept", "number": ALL}, "n_clicks"),
        State(AREA.job, "data"),
        prevent_initial_call=True,
    )
    def accept_one(clicks: list[int | None], number_of_job: int | None) -> Any:
        job, pressed = session.jobs.get(number_of_job), callback_context.triggered_id
        if job is None or job.result is None or not isinstance(pressed, dict) or not any(clicks):
            return no_update
        return html.Div(accept(session, job.result, pressed["number"]))


PAGE = Page(
    path="/tuning",
    group="Decide",
    short="What to change",
    title="What should I change?",
    lead="Set a target first. Then values that reach it, with the doubt that remains, or the playtest that "
    "would settle it.",
    body=body,
    controls=lambda: [*controls(), *closer_look.controls()],
    wires=wires,
    follows=False,
)
