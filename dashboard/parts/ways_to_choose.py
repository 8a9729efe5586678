"""The answer of the tuning: what to do in people's words, and side by side what fewer and more changes would do."""

from typing import Any
from urllib.parse import urlencode

from dash import html

from analysis.tuning.headline import QUITS_DIFFER, audience, certainty, counted_in_words, headline, to_do
from analysis.tuning.proposal import Advice, Proposal, Way, more_quit, quit_shares
from analysis.words import capital, percent, points
from dashboard.parts.dash_parts import graph, note
from dashboard.state.tuning_desk import Worked
from dashboard.web.filters import to_address

_LEGEND = (
    "Ring: today as the model sees it. Dot: then. Bars: 80 % intervals. Green field: wanted. Cross: counted in today's "
    "build. Red: worse for the players."
)


def ways_to_choose(worked: Worked, number: int, job: int) -> list[Any]:
    """The answer of one proposal, its certainty and next steps, and a column for each way."""
    proposal = worked.answer.proposals[number]
    sure = [html.B(f"{certainty(proposal)}, "), html.Span(_together(f"{audience(proposal, worked.targets.targets)}."))]
    ways: list[Way | None] = [*proposal.ways] or [None]
    legend = f"{_LEGEND} {QUITS_DIFFER}" if quit_shares(proposal.side_effects) else _LEGEND
    if proposal.unknown:
        ways, legend = [*proposal.ways], "How far any of this would come cannot be said."
    return [
        html.Div(
            [
                html.H2(_together(headline(proposal, worked.targets.targets)), className="answer-line"),
                html.P([*sure, *_steps(worked, proposal, number, job)], className="sure"),
                note(f"What would settle it: {proposal.settles_it}.") if proposal.settles_it else None,
            ],
            className="wide answer-head",
        ),
        html.Div([_column(proposal, way, at, number, job) for at, way in enumerate(ways)], className="wide ways"),
        note(f"{worked.seen[number]} {legend}" if number in worked.seen and not proposal.unknown else legend),
    ]


def _together(text: str) -> str:
    """No line ends between a number and its per cent."""
    return text.replace(" %", "\N{NO-BREAK SPACE}%")


def _steps(worked: Worked, proposal: Proposal, number: int, job: int) -> list[Any]:
    if not proposal.changes:
        return []
    plan = to_address(worked.selection)
    against = urlencode({"against": proposal.id})
    return [
        html.Button("Accept", id={"type": "accept", "number": number}, className="button", type="button"),
        html.A("C header to flash", href=f"/header/{job}/{number}.h", download="tunables.h", className="step"),
        html.A("Plan the check", href=f"/plan{plan}{'&' if plan else '?'}{against}", className="step"),
    ]


def _column(proposal: Proposal, way: Way | None, at: int, number: int, job: int) -> html.Section:
    chosen = way is not None and way.id == proposal.id
    title = "As it is" if way is None else capital(counted_in_words(len(way.knobs), "knob"))
    inside: list[Any] = []
    if way is not None:
        said = [html.B(f"{title}. "), f"{to_do(way.changes)}."]
        inside = [html.P(said, className="what")]
        if not proposal.unknown:
            inside.append(html.P(_misses(proposal, way, chosen), className="note"))
    graph_title = f"{title}: each target and side effect, today and then"
    return html.Section(
        inside if proposal.unknown else [*inside, graph(f"/way/{job}/{number}/{at}.json", graph_title)],
        className="card way-column chosen" if chosen else "card way-column",
        key=f"{job}-{number}-way-{at}",
    )


def _misses(proposal: Proposal, way: Way, chosen: bool) -> list[Any]:
    miss, today = (points(one, signed=False) for one in (way.miss, way.miss_now))
    said: list[Any] = [f"expected miss {miss}, today {today}; chance to be better {percent(way.chance_better)}"]
    if more_quit(way.side_effects):
        said += ["; ", html.Span("more people give up", className="bad")]
    if chosen and proposal.advice == Advice.CHANGE:
        said += ["; ", html.B("recommended")]
    elif not way.sure:
        said += ["; not sure enough to be recommended"]
    return said
