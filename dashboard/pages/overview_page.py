"""The start page: what the study holds, and where it stands on the way to a decision."""

from dataclasses import dataclass, replace
from typing import Any

from markupsafe import Markup

from analysis import words
from analysis.finding import CERTAINTIES, Finding
from analysis.findings import QUESTIONS
from analysis.findings.questions import Chapter
from analysis.game_kind import read_kind
from analysis.selection import Selection
from analysis.stats.estimate import FEW_PLAYERS
from analysis.words import cell, counted
from dashboard.figures import has_figure
from dashboard.pages.page import Page
from dashboard.pages.question_pages import none_chosen, nothing_ingested
from dashboard.parts.cards import Head, Shown, card, link
from dashboard.report.evidence import chosen
from dashboard.state.dashboard_session import Session
from dashboard.web.filters import game_address, to_address
from dashboard.web.html_tables import table
from dashboard.web.templating import part

_FOREMOST = 3


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
    steps = _steps(session, selection.game)
    address = game_address(selection.game)
    way = part("way", [(step.done, step.words, step.path + address) for step in steps])
    below = part("section", f"{selection.game}: from play to decision", way, "card wide way")
    found = _foremost(session, selection)
    return [replace(found, head=_head(steps, session, selection)), Shown(below), Shown(holds)]


@dataclass(frozen=True)
class _Step:
    """done: None where only people can know; next: what is said of it while it is the next; button: its link then."""

    done: bool | None
    words: str
    path: str
    next: str = ""
    button: str = ""


_CHECK = _Step(None, "Check that it helped", "/progress", "Next: see whether the change helped.", "Did it help")


def _head(steps: list[_Step], session: Session, selection: Selection) -> Head:
    """What is to do next in the study: the first step that is not done, else to see whether the change helped."""
    coming = next((step for step in steps if step.done is False), _CHECK)
    known = [step.done for step in steps if step.done is not None]
    basis = session.basis(selection)
    rests_on = f"{counted(basis.players, 'player')}, {counted(basis.runs, 'run')}"
    step = (coming.button, coming.path + game_address(selection.game))
    return Head(coming.next, f"{sum(known)} of {len(known)} steps done", rests_on, (step,))


def _foremost(session: Session, selection: Selection) -> Shown:
    """The findings that matter most for what was wished, each with its figure and where to go on from it."""
    if not session.basis(selection).runs:
        return Shown(none_chosen(selection))
    found = [
        one
        for question in session.asked_of(selection.game)
        if QUESTIONS[question].chapter is Chapter.EVIDENCE
        for one in session.findings(question, selection)
        if one.headline and has_figure(one)
    ]
    kept = session.kept_targets(selection.game)
    wishes = kept.read_or_none if kept else None
    first = list(chosen(found, wishes.targets if wishes else (), read_kind(session.reader, selection).parts))
    rest = sorted((one for one in found if one not in first), key=lambda one: CERTAINTIES.index(one.certainty))
    cards = [_small(one, selection, session.version) for one in [*first, *rest][:_FOREMOST]]
    return Shown(
        part("foremost", [one.html for one in cards]), tuple(figure for one in cards for figure in one.figures)
    )


def _small(one: Finding, selection: Selection, version: int) -> Shown:
    """A finding with its headline, how sure it is, and the page on which it stands."""
    on = link(QUESTIONS[one.question].short, f"/{one.question}{to_address(selection)}", _class="step")
    return card(
        one, selection, version, links=Markup("{}. {}").format(words.capital(one.certainty), on), place="beside"
    )


def _steps(session: Session, game: str) -> list[_Step]:
    """The steps from a first playtest to a checked change. A step is called done where the study shows that it is; what
    only people can know is neither done nor to do."""
    people = session.reader.ask_chosen("chosen_people", Selection(game=game))
    runs, untagged = int(people["runs"][0]), int(people["untagged"][0])
    players = int(people["players"][0]) - untagged  # each run without a tag counts as a player there
    builds = len(set(session.ask("builds_played", game=game, include_team=False)["build"]))
    targets = session.kept_targets(game)
    kept = f": kept on {targets.noted_at[:16]} UTC" if targets else ", before you look at how it went"
    return [
        _Step(
            players >= FEW_PLAYERS,
            f"Play: {counted(players, 'player')} so far; with fewer than {FEW_PLAYERS} all is only an indication",
            "/live",
            f"Next: let more people play; {players} of {FEW_PLAYERS} have.",
            "Record a playtest",
        ),
        _Step(
            runs > 0 and not untagged,
            "Tag every run with its player" + _left(untagged, "run"),
            "/runs",
            f"Next: say who played; {counted(untagged, 'run')} without a player.",
            "Runs and notes",
        ),
        _Step(
            targets is not None,
            "Write down what you want" + kept,
            "/tuning",
            "Next: write down what you want.",
            "What to change",
        ),
        _Step(
            builds > 1,
            f"Change one thing and play again: {counted(builds, 'build')} played so far",
            "/tuning",
            "Next: change one thing and play again.",
            "What to change",
        ),
        replace(_CHECK, words="Check that it helped" + ("" if builds > 1 else ", once two builds have been played")),
        _Step(None, "Hand in the report", "/report"),
    ]


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
