"""What the tuning answers with: the ways to choose from, sliders to try values, and every proposal in numbers."""

from collections.abc import Collection
from typing import Any

from dash import dcc, html

from analysis.methods import METHODS
from analysis.tuning.proposal import Advice, Proposal
from analysis.tuning.whatif import slider_values
from analysis.words import amount, capital, cell, counted, with_span
from dashboard.parts import closer_look
from dashboard.parts.dash_parts import graph, note
from dashboard.parts.ways_to_choose import ways_to_choose
from dashboard.state.tuning_desk import Worked, levers, what_if
from dashboard.web.placing import placed_table

_MOST_SLIDERS = 14


def results(worked: Worked, job: int) -> list[Any]:
    """The answer with the ways to choose from; sliders, all proposals in numbers, and a closer look are folded."""
    answer = worked.answer
    parts: list[Any] = []
    for n, proposal in enumerate(answer.proposals):
        if n == 0 or proposal.ways:
            parts += ways_to_choose(worked, n, job)
    parts += [
        html.Section([html.H2(name), note(reason, "saying")], className="card wide")
        for name, reason in answer.unanswered.items()
    ]
    if not parts:
        parts = [html.Section(html.P("No proposal came of it.", className="saying"), className="card wide")]
    parts += [note(capital(warning), "warning") for warning in answer.warnings]
    return [
        *parts,
        *_folded("Try your own values", _sliders(worked)),
        *_folded("Every way in numbers", _all(worked, job)),
        *_folded("A closer look", closer_look.cards(worked)),
    ]


def _folded(summary: str, inside: list[Any]) -> list[Any]:
    if not inside:
        return []
    return [html.Details([html.Summary(summary), html.Div(inside, className="cards")], className="further")]


def _all(worked: Worked, job: int) -> list[Any]:
    made = worked.answer.proposals
    shared = frozenset.intersection(*(frozenset(p.warnings) for p in made)) if made else frozenset[str]()
    return [
        proposal_card(proposal, i, job, shared if i else ())
        for i, proposal in enumerate(made)
        # Where today's setting is close enough, further ways to leave it alone say nothing new.
        if i == 0 or proposal.advice != Advice.CLOSE_ENOUGH
    ]


_ADVICE = {
    Advice.CHANGE: "change this",
    Advice.EXPLORE: "change boldly and play again",
    Advice.NOT_YET: "not yet",
    Advice.CLOSE_ENOUGH: "close enough as it is",
}


def proposal_card(proposal: Proposal, number_of_it: int, job: int, said: Collection[str] = ()) -> html.Section:
    """One proposal: what to change, what it would do, how sure that is, and what carries it.

    Warnings in `said` are left out.
    """
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
        "effective draws": cell(round(proposal.effective_draws)),
    }
    buttons: list[Any] = []
    # Those that lead are accepted where they stand in words.
    if proposal.changes and number_of_it and not proposal.ways:
        buttons = [
            html.Button("Accept", id={"type": "accept", "number": number_of_it}, className="button", type="button"),
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
            *[note(warning, "warning") for warning in proposal.warnings if warning not in said],
            html.Dl([html.Div([html.Dt(name), html.Dd(value)]) for name, value in facts.items()], className="facts"),
            placed_table(changes, "What changes") if proposal.changes else None,
            graph(f"/proposal/{job}/{number_of_it}.json", "what is predicted, against what is wanted"),
            note(f"What would settle it: {proposal.settles_it}.", "saying") if proposal.settles_it else None,
            html.Div(buttons, className="row"),
            _audiences(proposal),
            html.Div([_targets(proposal), _side_effects(proposal), _assumptions(proposal)], className="drawer"),
        ],
        className="card wide",
        id=f"proposal-{number_of_it + 1}",
        key=f"{job}-{number_of_it}",
    )


def _audiences(proposal: Proposal) -> Any:
    """What becomes of the proposal with other audiences than the testers."""
    columns: dict[str, list[Any]] = {"audience": [one.audience for one in proposal.audiences]}
    for n, t in enumerate(proposal.targets):
        columns[f"{t.target}, no change"] = [amount(one.now[n], t.unit) for one in proposal.audiences]
        columns[f"{t.target}, as proposed"] = [amount(one.proposed[n], t.unit) for one in proposal.audiences]
    columns["nearer"] = ["no change" if one.turns else "as proposed" for one in proposal.audiences]
    if not proposal.changes:
        columns = {name: column for name, column in columns.items() if not name.endswith(("as proposed", "nearer"))}
    return placed_table(columns, "If the audience is another")


def _targets(proposal: Proposal) -> html.Details:
    targets = proposal.targets
    columns = {
        "target": [t.target for t in targets],
        "wanted": [f"{amount(t.wanted, t.unit)} ± {amount(t.tolerance, t.unit)}" for t in targets],
        "observed": [
            f"{amount(t.observed, t.unit)} ({counted(t.observed_players, 'player')}, {counted(t.observed_runs, 'run')})"
            for t in targets
        ],
        "no change": [with_span(t.now.value, t.now.low80, t.now.high80, t.unit) for t in targets],
        "as proposed": [with_span(t.proposed.value, t.proposed.low80, t.proposed.high80, t.unit) for t in targets],
        "next playtest may show": [
            "–"
            if t.proposed.next_low is None
            else f"{amount(t.proposed.next_low, t.unit)} to {amount(t.proposed.next_high, t.unit)}"
            for t in targets
        ],
    }
    return html.Details([html.Summary("Numbers"), placed_table(columns, "Predicted figures, with 80 % intervals")])


def _side_effects(proposal: Proposal) -> html.Details | None:
    now, then = proposal.side_effects.get("now"), proposal.side_effects.get("proposed")
    if not isinstance(now, dict) or not isinstance(then, dict):
        return None
    columns: dict[str, list[Any]] = {
        "what": [key.replace("_", " ") for key in now],
        "no change": [cell(value) for value in now.values()],
        "as proposed": [cell(then.get(key)) for key in now],
    }
    return html.Details([html.Summary("Side effects"), placed_table(columns, "What else would change")])


def _assumptions(proposal: Proposal) -> html.Details:
    method = METHODS.get(proposal.method)
    inside = [html.P([html.B(method.name + ". "), method.text])] if method is not None else []
    inside += [html.P(source.text, className="source") for source in (method.sources if method is not None else ())]
    return html.Details(
        [html.Summary("Method and assumptions"), *inside, html.Ul([html.Li(one) for one in proposal.assumptions])]
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
                    html.Span(f"{tunable.name}, {tunable.unit}".rstrip(" ,-"), className="label"),
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
                note("What is predicted for any setting, worked out a little more coarsely than a proposal."),
                html.Div(rows, className="sliders"),
                html.Div(tried(worked, {}), id={"type": "tried", "at": "result"}, className="tried"),
            ],
            className="card wide trying",
        )
    ]


def tried(worked: Worked, setting: dict[str, int]) -> html.Div:
    """What the sliders' setting would do."""
    rows = what_if(worked, setting)
    columns = {
        "target": [name for name, _, _, _ in rows],
        "wanted": [amount(target.wanted, target.unit) for _, target, _, _ in rows],
        "no change": [with_span(now.value, now.low80, now.high80, target.unit) for _, target, now, _ in rows],
        "with these values": [
            with_span(then.value, then.low80, then.high80, target.unit) for _, target, _, then in rows
        ],
    }
    return placed_table(columns, "Predicted, with 80 % intervals")
