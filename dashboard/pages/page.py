"""What a page is."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from dash import Dash

from analysis.selection import Selection
from dashboard.state.dashboard_session import Session
from dashboard.web.filters import game_address, to_address
from dashboard.web.opened import Opened, opened_at

Body = Callable[[Session, Selection | None], list[Any]]
OpenedBody = Callable[[Session, Selection | None, Opened], list[Any]]


def nothing() -> list[Any]:
    """The controls of a page without any."""
    return []


def no_wires(app: Dash, session: Session) -> None:
    """The callbacks of a page without any."""


@dataclass(frozen=True)
class Page:
    """One question of the people at the table, and how it is answered.

    `body` makes the content for a selection (None: an empty study): `Shown`s (parts/cards.py) on a page that is only
    read, else components of Dash. `controls` are its fixed components with ids, which `wires` speaks of; `body`
    must place them, or what follows when a button of the page was pressed. `filtered`: the filter bar stands above it.
    `follows`: redrawn whenever the study changes. `opened_body` makes the content of a page on which the address opens
    something. `question`: the one that it answers (analysis/findings/questions.py); the page is in the navigation of
    the games that it can be asked of. ignores: choices of the filter that make no difference to it ("stage",
    "attempts", "any"), with the words that say so.
    """

    path: str
    group: str
    short: str
    title: str
    lead: str
    body: Body
    controls: Callable[[], list[Any]] = nothing
    wires: Callable[[Dash, Session], None] = no_wires
    filtered: bool = True
    follows: bool = True
    opened_body: OpenedBody | None = None
    question: str | None = None
    ignores: tuple[tuple[str, str], ...] = ()

    def unheeded(self, selection: Selection) -> list[str]:
        """What to say of choices that were made and that the page does not heed."""
        made = {
            "stage": selection.stage is not None,
            "attempts": (selection.first_attempt, selection.last_attempt) != (None, None),
            "any": to_address(selection) != game_address(selection.game),
        }
        return [words for choice, words in self.ignores if made[choice]]

    def filled(self, session: Session, selection: Selection | None, search: str | None) -> list[Any]:
        """The content at an address whose filter means `selection`."""
        if self.opened_body is not None:
            return self.opened_body(session, selection, opened_at(search))
        return self.body(session, selection)

    @property
    def reading(self) -> bool:
        """Whether it is only read: nothing on it but text, links and figures."""
        return self.wires is no_wires
