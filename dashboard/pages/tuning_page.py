"""What should I change: targets, proposals with their doubt, sliders to try values, and the header to flash."""

from typing import Any

from dash import ALL, Dash, Input, Output, State, callback_context, dcc, html, no_update

from analysis.selection import Selection
from analysis.tuning.target_file import BadTargets
from analysis.tuning_answers.first_wish import first_wish
from dashboard.pages.page import Page
from dashboard.pages.question_pages import none_chosen, nothing_ingested
from dashboard.parts import closer_look
from dashboard.parts.dash_parts import note, unsaved
from dashboard.parts.job_area import JobArea
from dashboard.parts.proposal_cards import results, tried
from dashboard.parts.wish_sentence import OUTCOMES, quoted, wished, wishes, with_target
from dashboard.state.dashboard_session import Session
from dashboard.state.tuning_desk import accept, work
from dashboard.web import element_ids
from dashboard.web.placing import placed
from ingest.vocabulary import RECRUITMENT_WORDS

TEXT, ADD, KEEP, PROPOSE = "targets-text", "target-add", "targets-keep", "tuning-propose"
OUTCOME, WHICH, WANTED, WISHES = "target-outcome", "target-which", "target-wanted", "target-wishes"
AREA = JobArea("tuning")
# The targets file and the sentence, as `wished` takes them.
_SENTENCE = [State(one, "value") for one in (TEXT, OUTCOME, WHICH, WANTED)]


def controls(
    text: str = "",
    wish: tuple[str, str, str] = ("", "2", "60 %"),
    game: str = "the game",
    beside: str = "",
    kept: bool = True,
) -> list[Any]:
    """A target as a sentence to fill in, what is wanted so far, the buttons, and the places of their answers.

    wish: the outcome in words, its number and what is wanted, to begin with. beside: a note that stands by the file.
    kept: whether the study holds the text as it is.
    """
    said, number, wanted = wish
    own = unsaved(game)
    outcomes = [words for words, _ in OUTCOMES.values()]
    return [
        html.Div(
            [
                html.Label(f"Of first-time players of {game},", htmlFor=WANTED),
                dcc.Input(id=WANTED, type="text", size="5", maxLength=12, value=wanted, **own),
                html.Label("should", htmlFor=OUTCOME),
                dcc.Input(id=OUTCOME, type="text", list="target-outcomes", size="24", value=said, **own),
                html.Datalist([html.Option(value=words) for words in outcomes], id="target-outcomes"),
                html.Label("with … =", htmlFor=WHICH),
                dcc.Input(id=WHICH, type="text", size="3", maxLength=6, value=number, **own),
                html.Button("Add this wish", id=ADD, className="button quiet", type="button"),
                html.Button("Propose", id=PROPOSE, className="button", type="button"),
                *AREA.bar(),
            ],
            className="sentence",
        ),
        _asked(text, beside, kept, own),
        *AREA.rest("wide cards"),
    ]


def _asked(text: str, beside: str, kept: bool, own: dict[str, Any]) -> html.Div:
    """What is wanted so far, with the file that says it folded."""
    file = html.Details(
        [
            html.Summary("The wishes as a file"),
            html.Label("Targets", htmlFor=TEXT, className="label"),
            dcc.Textarea(id=TEXT, value=text, rows=9, spellCheck=False, maxLength=100_000, **own),
            note(beside),
        ],
        className="drawer",
    )
    keep = html.Button("Keep the targets", id=KEEP, className="button quiet", type="button")
    return html.Div([html.P(wishes(text, kept), id=WISHES, className="wishes"), keep, file], className="asked")


def body(session: Session, selection: Selection | None) -> list[Any]:
    """The target form; proposals follow when they were asked for."""
    if selection is None:
        return [placed(nothing_ingested(session))]
    if session.basis(selection.of_every_build()).runs == 0:
        return [placed(none_chosen(selection))]
    kept = session.kept_targets(selection.game)
    text = _kept(session, selection.game)
    draft = session.drafts.get(selection.game, text)
    outcome, number, wanted = first_wish(session.reader, selection)
    when = f"Kept on {kept.noted_at[:16]} UTC." if kept else "Not kept yet: keep them before you look at the proposals."
    beside = (
        f"{when} How the people who played were found: {RECRUITMENT_WORDS[session.testers()]}. Say it on the page "
        'Import, or in the file: [playtest] testers = "audience", "volunteers" or "friends". Population, tolerance, '
        "weights and what may move: analysis/tuning/TARGETS.md."
    )
    sentence = (OUTCOMES[outcome][0], number, wanted)
    *form, result = controls(draft, sentence, selection.game, beside, draft == text)
    return [html.Section(form, className="wide"), result]


def _kept(session: Session, game: str) -> str:
    """The targets file that the study holds, else the beginning of one."""
    kept = session.kept_targets(game)
    return kept.text if kept else f'game = "{quoted(game)}"\n'


def wires(app: Dash, session: Session) -> None:
    """Form -> targets; button -> job -> cards; sliders -> prediction."""

    @app.callback(
        Output(TEXT, "value"),
        Output(element_ids.MESSAGE, "children", allow_duplicate=True),
        Input(ADD, "n_clicks"),
        *_SENTENCE,
        prevent_initial_call=True,
    )
    def add(clicks: int | None, *sentence: str | None) -> Any:
        if not clicks:
            return no_update, no_update
        try:
            return with_target(*(words or "" for words in sentence)), no_update
        except BadTargets as error:
            return no_update, html.Div(str(error))

    @app.callback(
        Output(element_ids.MESSAGE, "children", allow_duplicate=True),
        Output(WISHES, "children", allow_duplicate=True),
        Input(KEEP, "n_clicks"),
        State(element_ids.ADDRESS, "search"),
        *_SENTENCE,
        prevent_initial_call=True,
    )
    def keep(clicks: int | None, search: str | None, *sentence: str | None) -> Any:
        selection = session.chosen(search)
        if not clicks or selection is None:
            return no_update, no_update
        try:
            whole = wished(*(words or "" for words in sentence))
        except BadTargets as error:
            return html.Div(str(error)), no_update
        session.add_target(selection.game, whole)
        session.drafts.pop(selection.game, None)
        return html.Div("The targets are kept, with the time. Undo takes them back."), wishes(whole)

    @app.callback(
        *AREA.started,
        Input(PROPOSE, "n_clicks"),
        State(element_ids.ADDRESS, "search"),
        *_SENTENCE,
        prevent_initial_call=True,
    )
    def propose(clicks: int | None, search: str | None, *sentence: str | None) -> Any:
        selection = session.chosen(search)
        if not clicks or selection is None:
            return AREA.NOTHING
        try:
            whole = wished(*(words or "" for words in sentence))
        except BadTargets as error:
            return AREA.refuse(error)
        return AREA.start(session, lambda job: work(session, selection, whole, job), selection, whole)

    @app.callback(
        Output(WISHES, "children"),
        Input(TEXT, "value"),
        # So that it is called once when the page is made: for the text alone, which others write, it is not.
        Input(WISHES, "id"),
        State(element_ids.ADDRESS, "search"),
    )
    def say(text: str | None, _: str, search: str | None) -> Any:
        selection = session.chosen(search)
        if selection is None or text is None:
            return no_update
        # It is there again after a reload; after a new start of the server the browser has it still, and tells it here.
        kept = _kept(session, selection.game)
        if text == kept:
            session.drafts.pop(selection.game, None)
        else:
            session.drafts[selection.game] = text
        return wishes(text, text == kept)

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
