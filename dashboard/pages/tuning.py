"""What should I change: targets, proposals with their doubt, sliders to try values, and the header to flash."""

from typing import Any

from dash import ALL, Dash, Input, Output, State, callback_context, dcc, html, no_update

from analysis.methods import METHODS
from analysis.selection import Selection
from analysis.tuning.proposal import Advice, Proposal
from analysis.tuning.target_file import BadTargets, read_targets
from analysis.tuning.whatif import slider_values
from dashboard import ids
from dashboard.cards import graph, note, prose, table
from dashboard.filters import from_address
from dashboard.jobs import Job
from dashboard.page import Page
from dashboard.pages.import_logs import progress
from dashboard.pages.questions import none_chosen, nothing_ingested
from dashboard.session import Session
from dashboard.tuning_desk import Worked, accept, levers, what_if, work
from dashboard.wording import counted, number, with_unit

TEXT, ADD, KEEP, PROPOSE, CANCEL = (
    "targets-text",
    "target-add",
    "targets-keep",
    "tuning-propose",
    "tuning-cancel",
)
OUTCOME, WHICH, WANTED = "target-outcome", "target-which", "target-wanted"
JOB, TICK, PROGRESS, RESULT, TRIED = (
    "tuning-job",
    "tuning-tick",
    "tuning-progress",
    "tuning-result",
    "tuning-tried",
)
_MOST_SLIDERS = 14

# Outcome -> (words, the word of TARGETS.md for its number).
_OUTCOMES = {
    "reach_stage": ("reach stage …", "stage"),
    "finish": ("finish the game", ""),
    "finish_within": ("finish within … attempts", "attempts"),
    "survive": ("stay alive for … seconds", "seconds"),
    "hit_share": ("hit so much of the notes or trials (median player)", ""),
    "streak": ("start with … in a row", "length"),
    "top_out_level": ("reach level …", "level"),
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
                            id=OUTCOME, type="text", list="target-outcomes", size="44", value=outcomes[0]
                        ),
                        html.Datalist([html.Option(value=words) for words in outcomes], id="target-outcomes"),
                    ],
                    className="field grow",
                ),
                html.Div(
                    [
                        html.Label("number (…)", htmlFor=WHICH),
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
                html.Button("Cancel", id=CANCEL, className="button quiet", type="button"),
                html.Div(id=PROGRESS, role="status"),
            ],
            className="row",
        ),
        dcc.Store(id=JOB),
        dcc.Interval(id=TICK, interval=400, disabled=True),
        html.Div(id=RESULT, className="wide cards"),
        html.Div(id=TRIED),
    ]


def body(session: Session, selection: Selection | None) -> list[Any]:
    """The target form; proposals follow when they were asked for."""
    if selection is None:
        return [nothing_ingested()]
    if session.basis(selection).runs == 0:
        return [none_chosen(selection)]
    kept = session.ask("game_targets", game=selection.game)
    text = str(kept["target_toml"][0]) if len(kept["target_toml"]) else f'game = "{_toml(selection.game)}"\n'
    *form, tried = controls(text)
    *form, result = form
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
                    f"{when} Population, tolerance, weights and which tunables may move: analysis/tuning/TARGETS.md."
                ),
            ],
            className="card wide",
        ),
        result,
        html.Div(tried, hidden=True),
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
    lines.append(f'wanted = "{_toml(wanted.strip())}"')
    longer = text.rstrip() + "\n" + "\n".join(lines) + "\n"
    read_targets(longer)
    return longer


def _toml(text: str) -> str:
    kept = "".join(letter for letter in text if letter >= " ")
    return kept.replace("\\", "\\\\").replace('"', '\\"')


def results(worked: Worked, job: int) -> list[Any]:
    """The proposals as cards, then the sliders."""
    answer = worked.answer
    parts: list[Any] = [
        proposal_card(proposal, i, job)
        for i, proposal in enumerate(answer.proposals)
        # Where today's setting is close enough, further ways to leave it alone say nothing new.
        if i == 0 or proposal.advice != Advice.CLOSE_ENOUGH
    ]
    for name, reason in answer.unanswered.items():
        parts.append(
            html.Section([html.H2(name), html.P(prose(reason), className="saying")], className="card wide")
        )
    if not parts:
        parts = [html.Section(html.P("No proposal came of it.", className="saying"), className="card wide")]
    return [*parts, *_sliders(worked)]


_ADVICE = {
    Advice.CHANGE: "change this",
    Advice.NOT_YET: "not yet",
    Advice.CLOSE_ENOUGH: "close enough as it is",
}


def proposal_card(proposal: Proposal, number_of_it: int, job: int) -> html.Section:
    """One proposal: what to change, what it would do, how sure that is, and what carries it."""
    changes: dict[str, list[Any]] = {
        "tunable": [change.tunable for change in proposal.changes],
        "now": [change.now for change in proposal.changes],
        "proposed": [change.proposed for change in proposal.changes],
        "unit": [change.unit.strip("-") for change in proposal.changes],
        "what carries it": [proposal.carried_by.get(change.tunable, "") for change in proposal.changes],
    }
    facts = {
        "better than no change": f"{round(100 * proposal.chance_better)} %",
        "every target within tolerance": f"{round(100 * proposal.chance_close)} %",
        "rests on": f"{counted(proposal.players, 'player')}, {counted(proposal.runs, 'run')}",
    }
    buttons: list[Any] = []
    if proposal.changes:
        buttons = [
            html.Button(
                "Accept", id={"type": "accept", "number": number_of_it}, className="button", type="button"
            ),
            html.A(
                "C header to flash",
                href=f"/header/{job}/{number_of_it}.h",
                download="tunables.h",
                className="button quiet",
            ),
        ]
    return html.Section(
        [
            html.H2(f"Proposal {number_of_it + 1}: {_ADVICE[proposal.advice]}"),
            html.P(proposal.sentence, className="saying"),
            *[note(warning, "warning") for warning in proposal.warnings],
            html.Dl(
                [html.Div([html.Dt(name), html.Dd(value)]) for name, value in facts.items()],
                className="facts",
            ),
            table(changes, "What changes") if proposal.changes else None,
            graph(
                f"/proposal/{job}/{number_of_it}.json",
                "what is predicted, against what is wanted",
            ),
            html.P(prose(proposal.settles_it), className="saying") if proposal.settles_it else None,
            html.Div(buttons, className="row"),
            html.Div(
                [_targets(proposal), _side_effects(proposal), _assumptions(proposal)], className="drawer"
            ),
        ],
        className="card wide",
        key=f"{job}-{number_of_it}",
    )


def _targets(proposal: Proposal) -> html.Details:
    def told(p: Any, unit: str) -> str:
        return f"{with_unit(p.value, unit)} (80 %: {with_unit(p.low80, unit)} to {with_unit(p.high80, unit)})"

    targets = proposal.targets
    columns = {
        "target": [t.target for t in targets],
        "wanted": [f"{with_unit(t.wanted, t.unit)} ± {with_unit(t.tolerance, t.unit)}" for t in targets],
        "observed": [
            f"{with_unit(t.observed, t.unit)} ({counted(t.observed_players, 'player')}, "
            f"{counted(t.observed_runs, 'run')})"
            for t in targets
        ],
        "no change": [told(t.now, t.unit) for t in targets],
        "as proposed": [told(t.proposed, t.unit) for t in targets],
        "next playtest may show": [
            "–"
            if t.proposed.next_low is None
            else f"{with_unit(t.proposed.next_low, t.unit)} to {with_unit(t.proposed.next_high, t.unit)}"
            for t in targets
        ],
    }
    return html.Details([html.Summary("Numbers"), table(columns, "Predicted figures")])


def _side_effects(proposal: Proposal) -> html.Details | None:
    now, then = proposal.side_effects.get("now"), proposal.side_effects.get("proposed")
    if not isinstance(now, dict) or not isinstance(then, dict):
        return None
    columns: dict[str, list[Any]] = {
        "what": [key.replace("_", " ") for key in now],
        "no change": [number(value) for value in now.values()],
        "as proposed": [number(then.get(key)) for key in now],
    }
    return html.Details([html.Summary("Side effects"), table(columns, "What else would change")])


def _assumptions(proposal: Proposal) -> html.Details:
    method = METHODS.get(proposal.method)
    inside = [html.P([html.B(method.name + ". "), method.text])] if method is not None else []
    inside += [
        html.P(source.text, className="source") for source in (method.sources if method is not None else ())
    ]
    return html.Details(
        [
            html.Summary("Method and assumptions"),
            *inside,
            html.Ul([html.Li(one) for one in proposal.assumptions]),
        ]
    )


def _sliders(worked: Worked) -> list[Any]:
    tunables = levers(worked)[:_MOST_SLIDERS]
    if not tunables:
        return []
    rows = []
    for tunable in tunables:
        values = slider_values(tunable)
        rows.append(
            html.Div(
                [
                    html.Span(f"{tunable.name}, {tunable.unit}".removesuffix(", -"), className="label"),
                    dcc.Slider(
                        id={"type": "try", "tunable": tunable.name},
                        min=values[0],
                        max=values[-1],
                        step=None if len(values) <= 1 else tunable.step,
                        value=tunable.value,
                        marks={values[0]: str(values[0]), values[-1]: str(values[-1])},
                        tooltip={"placement": "bottom", "always_visible": False},
                        updatemode="mouseup",
                    ),
                ],
                className="slider",
                role="group",
                **{"aria-label": tunable.name},
            )
        )
    return [
        html.Section(
            [
                html.H2("Try values yourself"),
                note("The prediction for any setting, from a third of the draws; a proposal uses them all."),
                html.Div(rows, className="sliders"),
                html.Div(id={"type": "tried", "at": "result"}),
            ],
            className="card wide",
        )
    ]


def tried(worked: Worked, setting: dict[str, int]) -> html.Div:
    """What the sliders' setting would do."""
    rows = what_if(worked, setting)
    columns = {
        "target": [target.name for target, _, _ in rows],
        "wanted": [with_unit(target.wanted, target.unit) for target, _, _ in rows],
        "no change": [_told(now, target.unit) for target, now, _ in rows],
        "with these values": [_told(then, target.unit) for target, _, then in rows],
    }
    return table(columns, "Predicted, with 80 % intervals")


def _told(p: Any, unit: str) -> str:
    return f"{with_unit(p.value, unit)} ({with_unit(p.low80, unit)} to {with_unit(p.high80, unit)})"


def wires(app: Dash, session: Session) -> None:
    """Form -> targets; button -> job -> cards; sliders -> prediction."""

    @app.callback(
        Output(TEXT, "value"),
        Output(ids.MESSAGE, "children", allow_duplicate=True),
        Input(ADD, "n_clicks"),
        State(TEXT, "value"),
        State(OUTCOME, "value"),
        State(WHICH, "value"),
        State(WANTED, "value"),
        prevent_initial_call=True,
    )
    def add(
        clicks: int | None, text: str | None, outcome: str | None, which: str | None, wanted: str | None
    ) -> Any:
        if not clicks:
            return no_update, no_update
        try:
            return with_target(text or "", outcome or "", which or "", wanted or ""), no_update
        except BadTargets as error:
            return no_update, html.Div(str(error))

    @app.callback(
        Output(ids.MESSAGE, "children", allow_duplicate=True),
        Input(KEEP, "n_clicks"),
        State(TEXT, "value"),
        State(ids.ADDRESS, "search"),
        prevent_initial_call=True,
    )
    def keep(clicks: int | None, text: str | None, search: str | None) -> Any:
        selection = from_address(search, session.games())
        if not clicks or selection is None:
            return no_update
        try:
            read_targets(text or "")
        except BadTargets as error:
            return html.Div(str(error))
        session.add_target(selection.game, text or "")
        return html.Div("The targets are kept, with the time. Undo takes them back.")

    @app.callback(
        Output(JOB, "data"),
        Output(TICK, "disabled"),
        Output(ids.MESSAGE, "children", allow_duplicate=True),
        Input(PROPOSE, "n_clicks"),
        State(TEXT, "value"),
        State(ids.ADDRESS, "search"),
        prevent_initial_call=True,
    )
    def propose(clicks: int | None, text: str | None, search: str | None) -> Any:
        selection = from_address(search, session.games())
        if not clicks or selection is None:
            return no_update, no_update, no_update
        try:
            read_targets(text or "")
        except BadTargets as error:
            return no_update, no_update, html.Div(str(error))
        job = session.jobs.start("propose", lambda job: work(session, selection, text or "", job))
        return job.number, False, None

    @app.callback(
        Output(PROGRESS, "title"), Input(CANCEL, "n_clicks"), State(JOB, "data"), prevent_initial_call=True
    )
    def cancel(clicks: int | None, number_of_job: int | None) -> Any:
        job = session.jobs.get(number_of_job)
        if clicks and job is not None:
            job.cancel()
        return no_update

    @app.callback(
        Output(PROGRESS, "children"),
        Output(RESULT, "children"),
        Output(TICK, "disabled", allow_duplicate=True),
        Input(TICK, "n_intervals"),
        State(JOB, "data"),
        prevent_initial_call=True,
    )
    def follow(_: int, number_of_job: int | None) -> Any:
        job = session.jobs.get(number_of_job)
        if job is None:
            return None, no_update, True
        if not job.ended:
            return progress(job), no_update, False
        return (
            ended(job),
            (results(job.result, job.number) if job.result is not None else []),
            True,
        )

    @app.callback(
        Output({"type": "tried", "at": ALL}, "children"),
        Input({"type": "try", "tunable": ALL}, "value"),
        State({"type": "try", "tunable": ALL}, "id"),
        State(JOB, "data"),
        prevent_initial_call=True,
    )
    def try_values(values: list[int], names: list[dict[str, str]], number_of_job: int | None) -> Any:
        job = session.jobs.get(number_of_job)
        if job is None or job.result is None or not values:
            return [no_update] * len(callback_context.outputs_list)
        setting = {name["tunable"]: round(value) for name, value in zip(names, values, strict=True)}
        return [tried(job.result, setting)]

    @app.callback(
        Output(ids.MESSAGE, "children", allow_duplicate=True),
        Input({"type": "accept", "number": ALL}, "n_clicks"),
        State(JOB, "data"),
        prevent_initial_call=True,
    )
    def accept_one(clicks: list[int | None], number_of_job: int | None) -> Any:
        job, pressed = session.jobs.get(number_of_job), callback_context.triggered_id
        if job is None or job.result is None or not isinstance(pressed, dict) or not any(clicks):
            return no_update
        return html.Div(accept(session, job.result, pressed["number"]))


def ended(job: Job) -> Any:
    """What is said when a job is over."""
    if job.error:
        return note(job.error, "warning")
    return note("Cancelled." if job.result is None else "")


PAGE = Page(
    path="/tuning",
    group="Decide",
    short="What to change",
    title="What should I change?",
    lead="Set a target first. Then values that reach it, with the doubt that remains, or the playtest that "
    "would settle it.",
    body=body,
    controls=controls,
    wires=wires,
    follows=False,
)
