"""The start page: what the study holds, and where it stands on the way to a decision."""

from typing import Any

from analysis.selection import Selection
from analysis.words import cell, counted
from dashboard.pages.page import Page
from dashboard.pages.question_pages import nothing_ingested
from dashboard.parts.cards import Shown, link
from dashboard.state.dashboard_session import Session
from dashboard.web.filters import game_address
from dashboard.web.html_tables import table
from dashboard.web.templating import part

_ENOUGH = 12  # players; what a proposal is worth was measured with so many (analysis/models/MODEL.md)


def body(session: Session, selection: Selection | None) -> list[Shown]:
    """The games, and for the chosen one the way to a decision."""
    if selection is None:
        return [Shown(nothing_ingested(session))]
    games = session.ask("study_games")
    columns: dict[str, list[Any]] = {
        "game": [link(game, "/" + game_address(game)) for game in games["game"]],
        "players": [int(n) for n in games["players"]],
        "runs": [int(n) for n in games["runs"]],
        "of the makers": [int(n) for n in games["maker_runs"]],
        "minutes alive": [float(round(n, 1)) for n in games["minutes"]],
        "builds": [int(n) for n in games["builds"]],
        "damaged runs": [int(n) for n in games["damaged_runs"]],
        "marked not valid": [int(n) for n in games["invalid_runs"]],
    }
    holds = part("section", "What the study holds", table(columns, scrolls=True))
    return [_way(session, selection), Shown(holds)]


def _way(session: Session, selection: Selection) -> Shown:
    """The steps from a first playtest to a checked change. A step is called done where the study shows that it is; what
    only people can know is neither done nor to do."""
    game, address = selection.game, game_address(selection.game)
    people = session.reader.ask_chosen("chosen_people", Selection(game=game))
    runs, untagged = int(people["runs"][0]), int(people["untagged"][0])
    players = int(people["players"][0]) - untagged  # each run without a tag counts as a player there
    builds = len(set(session.ask("builds_played", game=game, include_team=False)["build"]))
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
        (None, "Check that it helped" + ("" if builds > 1 else ", once two builds have been played"), "/progress"),
        (None, "Hand in the report", "/report"),
    ]
    shown = part("way", [(done, words, path + address) for done, words, path in steps])
    return Shown(part("section", f"{game}: from play to decision", shown, "card wide way"))


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
