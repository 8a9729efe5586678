"""The proposals of a report: for the targets named, or those that the study keeps."""

from collections.abc import Callable

from analysis.selection import Selection
from analysis.tuning.proposal import Proposal
from analysis.tuning.target_file import BadTargets, read_targets
from analysis.tuning_answers.tuning_answer import propose_game
from analysis.tuning_answers.tuning_data import NothingToTune
from dashboard.state.dashboard_session import Session

Proposing = Callable[[Selection], tuple[tuple[Proposal, ...], str]]
# A report shows the best few; the page and the command line have all of them.
SHOWN = 3


def proposer(session: Session, text: str | None = None, tick: Callable[[], None] | None = None) -> Proposing:
    """selection -> (the best proposals, why there are none). `text`: a targets file for every game that it fits.

    Raises ValueError when `text` is no targets file.
    """
    given = read_targets(text) if text is not None else None

    def proposed(selection: Selection) -> tuple[tuple[Proposal, ...], str]:
        targets = given if given is not None and given.game in (None, selection.game) else None
        if targets is None:
            kept = session.kept_targets(selection.game)
            if kept is None:
                return (
                    (),
                    "No target was kept in the study, so nothing was proposed. Set one on the page “What to change”.",
                )
            try:
                targets = kept.read
            except BadTargets as error:
                return (), f"The targets kept in the study cannot be read: {error}"
        try:
            answer = propose_game(session.reader, selection, targets, tick=tick)
        except NothingToTune as error:
            return (), str(error)
        why = "; ".join(f"{name}: {reason}" for name, reason in answer.unanswered.items())
        return answer.proposals[:SHOWN], why

    return proposed
