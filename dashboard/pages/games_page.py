"""Games side by side, for the class: each figure with its interval, and no ranking without how sure it is."""

from analysis.selection import Selection
from dashboard.pages.page import Page
from dashboard.pages.question_pages import nothing_ingested
from dashboard.parts.cards import Shown, card, empty, note, shared_warnings
from dashboard.state.dashboard_session import Session


def body(session: Session, selection: Selection | None) -> list[Shown]:
    """One card a figure that games can be compared by."""
    if selection is None:
        return [Shown(nothing_ingested(session))]
    found = session.side_by_side()
    if not found:
        return [
            Shown(
                empty(
                    "There is only one game with runs",
                    ["Import the play logs of another game of the class, then they stand here side by side."],
                )
            )
        ]
    hint = (
        "The makers' own runs are left out, and the filter does not apply here. Games differ in kind: a "
        "short game is no worse game. Games whose studies are files of their own: `setscrew class`."
    )
    shared = shared_warnings(found)
    return [
        note(hint, "note wide"),
        *[note(warning, "warning wide") for warning in sorted(shared)],
        *[card(finding, selection, session.version, shared) for finding in found],
    ]


PAGE = Page(
    path="/games",
    group="Study",
    short="Games side by side",
    title="How do the games compare?",
    lead="Finishing, giving up, length and ratings of every game of the study.",
    body=body,
    filtered=False,
)
