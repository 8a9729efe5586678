"""The start page: what the study holds, and where it stands on the way to a decision."""

from typing import Any

from dash import html

from analysis.selection import Selection
from analysis.words import cell, counted
from dashboard.filters import to_address
from dashboard.page import Page
from dashboard.pages.questions import nothing_ingested
from dashboard.session import Session
from dashboard.web.tables import table
from dashboard.web.templating import part

_ENOUGH = 12  # players; what a proposal is worth was measured with so many (analysis/models/MODEL.md)


def body(session: Session, selection: Selection | None) -> list[Any]:
    """The games, and for the chosen one the way to a decision."""
    if selection is None:
        return [nothing_ingested(session)]
    games = session.ask("study_games")
    columns: dict[str, list[Any]] = {
        "game": [part("link", game, "/" + to_address(Selection(game=game))) for game in games["game"]],
        "players": [int(n) for n in games["players"]],
        "runs": [int(n) for n in games["runs"]],
        "of the makers": [int(n) for n in games["maker_runs"]],
        "minutes alive": [float(round(n, 1)) for n in games["minutes"]],
        "builds": [int(n) for n in games["builds"]],
        "damaged runs": [int(n) for n in games["damaged_runs"]],
        "marked not valid": [int(n) for n in games["invalid_runs"]],
    }
    holds = html.Section(
        [html.H2("What the study holds"), table(columns, scrolls=True)], className="card wide"
    )
    return [_way(session, selection), holds]


def _way(session: Session, selection: Selection) -> html.Section:
    """The steps from a first playtest to a checked change. A step is called done where the study shows that it is; what
    only people can know is neither done nor to do."""
    game, address = selection.game, to_address(Selection(game=selection.game))
    people = session.reader.ask_chosen("chosen_people", Selection(game=game))
    runs, untagged = int(people["runs"][0]), int(people["untagged"][0])
    players = int(people["players"][0]) - untagged  # each run without a tag counts as a player there
    builds = len(set(session.ask("builds_played", game=game)["build"]))
    targets = session.ask("game_targets", game=game)["noted_at"]
    kept = f": kept on {str(targets[0])[:16]} UTC" if len(targets) else ", before you look at how it went"
    steps = [
        (
            players >= _ENOUGH,
            f"Play: {counted(players, 'player')} so far; {_ENOUGH} or more make intervals useful",
            "/live",
        ),
        (runs > 0 and not untagged, "Tag every run with its player" + _left(untagged, "run"), "/runs"),
        (bool(len(targets)), "Write down what you want" + kept, "/tuning"),
        (builds > 1, f"Change one thing and play again: {counted(builds, 'build')} played so far", "/tuning"),
        (
            None,
            "Check that it helped" + ("" if builds > 1 else ", once two builds have been played"),
            "/progress",
        ),
        (None, "Hand in the report", "/report"),
    ]
    items = [html.Li([*_mark(done), html.A(words, href=path + address)]) for done, words, path in steps]
    return html.Section(
        [html.H2(f"{game}: from play to decision"), html.Ol(items)], className="card wide way"
    )


def _mark(done: bool | None) -> list[html.Span]:
    if done is None:
        return []
    return [html.Span("done: " if done else "to do: ", className="good" if done else "label-inline")]


def _left(count: int, what: str) -> str:
    return f" ({counted(count, what)} without one; {cell(count)} to go)" if count else ""


PAGE = Page(
    path="/",
    group="Study",
    short="Overview",
    title="What have we got?",
    lead="The games of this study, and how far each has come from play to decision.",
    body=body,
)
