"""Below the proposals: a target drawn over two tunables, and what would be predicted under other assumptions."""

from collections.abc import Callable
from typing import Any

from dash import Dash, Input, State, dcc, html

from analysis.words import with_span
from dashboard.parts.dash_parts import graph, note
from dashboard.parts.job_area import JobArea
from dashboard.state.dashboard_session import Session
from dashboard.state.jobs import Job
from dashboard.state.tuning_desk import Mapped, Otherwise, Worked, levers, map_of, mappable, otherwise
from dashboard.web.placing import placed_table

TARGET, ACROSS, UP, DRAW = "map-target", "map-across", "map-up", "map-draw"
MAP, OTHERWISE = JobArea("map", below="tuning"), JobArea("otherwise", below="tuning")
REFIT = "otherwise-refit"


def cards(worked: Worked) -> list[Any]:
    """The two cards, where a model was fitted; their results follow when they are asked for."""
    targets, names = [t.name for t in mappable(worked)], [t.name for t in levers(worked)]
    made = []
    if targets and len(names) > 1:
        changed = [c.tunable for p in worked.answer.proposals for c in p.changes if c.tunable in names]
        made.append(_map_card(targets, list(dict.fromkeys([*changed, *names]))))
    if worked.answer.proposals:
        made.append(_otherwise_card())
    return made


def controls() -> list[Any]:
    """All components with ids that the cards may hold."""
    return [_map_card(["-"], ["-", "-"]), _otherwise_card()]


def _map_card(targets: list[str], names: list[str]) -> html.Section:
    return html.Section(
        [
            html.H2("Two tunables at once"),
            _choice("Target", TARGET, targets, targets[0]),
            _choice("Across", ACROSS, names, names[0]),
            _choice("Up", UP, names, names[1]),
            _start("Draw the map", DRAW, MAP),
            *MAP.rest(),
        ],
        className="card wide",
    )


def _otherwise_card() -> html.Section:
    return html.Section(
        [
            html.H2("Had something else been assumed"),
            note(
                "The model is fitted again with one assumption changed at a time. Where the predictions stay, "
                "the data carry them; where they move, the assumption does."
            ),
            _start("Fit again", REFIT, OTHERWISE),
            *OTHERWISE.rest(),
        ],
        className="card wide",
    )


def _choice(label: str, where: str, options: list[str], chosen: str) -> html.Div:
    return html.Div(
        [html.Span(label, className="label"), dcc.RadioItems(id=where, options=options, value=chosen, inline=True)],
        className="choice",
        role="radiogroup",
        **{"aria-label": label},
    )


def _start(words: str, button: str, area: JobArea) -> html.Div:
    return html.Div([html.Button(words, id=button, className="button", type="button"), *area.bar()], className="row")


def drawn(mapped: Mapped, job: int) -> list[Any]:
    """The map with what it says in a sentence."""
    names = f"{mapped.map.across_name} and {mapped.map.up_name}"
    within = int((mapped.target.miss(mapped.map.figure) <= mapped.target.tolerance).sum())
    return [
        html.P(
            f"Of {mapped.map.figure.size} settings of {names}, {within} are predicted to come within the tolerance of "
            f"“{mapped.target.name}”; all other tunables are as they are. Framed: within tolerance. Ring: now.",
            className="saying",
        ),
        graph(f"/map/{job}.json", f"{mapped.target.name} over {names}"),
        note(
            "The figure in each square is the middle of what is predicted; how wide the doubt is, the cards above say."
        ),
    ]


def told(done: Otherwise) -> list[Any]:
    """The table of other assumptions."""
    units = {target.name: target.unit for target in done.targets}
    columns: dict[str, list[Any]] = {
        "target": [row.target for row in done.rows],
        "assumed": [row.assumption for row in done.rows],
        "no change": [with_span(row.now.value, row.now.low80, row.now.high80, units[row.target]) for row in done.rows],
        "as in the first proposal": [
            with_span(row.then.value, row.then.low80, row.then.high80, units[row.target]) for row in done.rows
        ],
    }
    return [placed_table(columns, "Predicted under other assumptions, with 80 % intervals")]


def wires(app: Dash, session: Session, proposed: JobArea) -> None:
    """Buttons -> jobs on the result of the job in `proposed` -> map, table."""

    def begin(area: JobArea, job_number: int | None, asked: object, work: Callable[[Worked, Job], Any]) -> Any:
        done = session.jobs.get(job_number)
        if done is None or not isinstance(done.result, Worked):
            return area.refuse("These proposals are no longer kept: press “Propose” again.")
        worked = done.result
        return area.start(session, lambda job: work(worked, job), worked.selection, (done.number, asked))

    @app.callback(
        *MAP.started,
        Input(DRAW, "n_clicks"),
        State(proposed.job, "data"),
        State(TARGET, "value"),
        State(ACROSS, "value"),
        State(UP, "value"),
        prevent_initial_call=True,
    )
    def draw(clicks: int | None, number: int | None, target: str, across: str, up: str) -> Any:
        if not clicks:
            return MAP.NOTHING
        return begin(MAP, number, (target, across, up), lambda worked, job: map_of(worked, target, across, up, job))

    @app.callback(*OTHERWISE.started, Input(REFIT, "n_clicks"), State(proposed.job, "data"), prevent_initial_call=True)
    def refit(clicks: int | None, number: int | None) -> Any:
        return begin(OTHERWISE, number, "", otherwise) if clicks else OTHERWISE.NOTHING

    MAP.wire(app, session, lambda job: drawn(job.result, job.number))
    OTHERWISE.wire(app, session, lambda job: told(job.result))
