"""The start page: what the study holds, and where it stands on the way to a decision."""

from typing import Any

from dash import html

from analysis.selection import Selection
from dashboard.cards import table
from dashboard.filters import to_address
from dashboard.page import Page
from dashboard.pages.questions import nothing_ingested
from dashboard.session import Session
from dashboard.wording import counted, number


def body(session: Session, selection: Selection | None) -> list[Any]:
    """The games, and for the chosen one the way to a decision."""
    if selection is None:
        return [nothing_ingested(session)]
    games = session.ask("study_games")
    columns: dict[str, list[Any]] = {
        "game": [html.A(game, href="/" + to_address(Selection(game=game))) for game in games["game"]],
        "players": [int(n) for n in games["players"]],
        "runs": [int(n) for n in games["runs"]],
        "of the makers": [int(n) for n in games["maker_runs"]],
        "minutes alive": [float(round(n, 1)) for n in games["minutes"]],
        "builds": [int(n) for n in games["builds"]],
        "damaged runs": [int(n) for n in games["damaged_runs"]],
        "marked not valid": [int(n) for n in games["invalid_runs"]],
    }
    holds = html.Section([html.H2("What the study holds"), table(columns)], className="card wide")
    return [_way(session, selection), holds]


def _way(session: Session, selection: Selection) -> html.Section:
    """The steps from a first playtest to a checked change, each ticked as far as the study shows it."""
    game, address = selection.game, to_address(Selection(game=selection.game))
    people = session.reader.ask_chosen("chosen_people", Selection(game=game))
    players, untagged = int(people["players"][0]), int(people["untagged"][0])
    builds = session.choices(game).builds
    targets = session.ask("game_targets", game=game)["noted_at"]
    steps = [
        (
            players > 0,
            f"Play: {counted(players, 'player')} so far; 12 or more make intervals useful",
            "/live",
        ),
        (players > 0 and not untagged, "Tag every run with its player" + _left(untagged, "run"), "/runs"),
        (bool(len(targets)), "Write down what you want, before you look at how it went", "/tuning"),
        (
            len(builds) > 1,
            f"Change one thing and play again: {counted(len(builds), 'build')} so far",
            "/tuning",
        ),
        (len(builds) > 1, "Check that it helped", "/progress"),
        (False, "Hand in the report", "/report"),
    ]
    items = [
        html.Li(
            [
                html.Span("done: " if done else "to do: ", className="good" if done else "label-inline"),
                html.A(words, href=path + address),
            ]
        )
        for done, words, path in steps[:-1]
    ]
    items.append(html.Li(html.A(steps[-1][1], href=steps[-1][2] + address)))
    return html.Section(
        [html.H2(f"{game}: from play to decision"), html.Ol(items)], className="card wide way"
    )


def _left(count: int, what: str) -> str:
    return f" ({counted(count, what)} without one; {number(count)} to go)" if count else ""


PAGE = Page(
    path="/",
    group="Study",
    short="Overview",
    title="What have we got?",
    lead="The games of this study, and how far each has come from play to decision.",
    body=body,
)
