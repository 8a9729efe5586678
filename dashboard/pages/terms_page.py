"""What the words of the other pages mean, in plain sentences."""

from analysis.methods.terms import TERMS
from analysis.selection import Selection
from dashboard.pages.page import Page
from dashboard.parts.cards import Shown
from dashboard.state.dashboard_session import Session
from dashboard.web.templating import part
from dashboard.web.term_links import PATH


def body(session: Session, selection: Selection | None) -> list[Shown]:
    """Every term, by its name."""
    return [Shown(part("terms", sorted(TERMS.values(), key=lambda term: term.name.casefold())))]


PAGE = Page(
    path=PATH,
    group="Help",
    short="What words mean",
    title="What do the words mean?",
    lead="The words of these pages that are not everyday ones. How a number is made stands below it.",
    body=body,
    filtered=False,
)
