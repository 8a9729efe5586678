"""Where no value can be proposed, or the play tells nothing: no figure is said, and what to do is."""

import re
from dataclasses import dataclass, replace

import numpy as np
import pytest

from analysis.answers.proposed_words import told
from analysis.models.targets import Changeable
from analysis.tuning.headline import certainty, headline
from analysis.tuning.proposal import Advice
from analysis.tuning.proposal_words import NOT_ALLOWED, REMEDIES, UNDECLARED
from analysis.tuning.ranking import propose
from analysis.tuning_answers.tuning_answer import TuningAnswer
from ingest.vocabulary import Recruitment
from tests.analysis.tuning.line_game import EASE, Line, wish

LOW = float(np.log(0.2 / 0.8))


@dataclass(frozen=True)
class Free(Line):
    """As the line, but it keeps to what the targets allow; without a tunable there is nothing to move."""

    declared: bool = True
    says: str = ""

    def moves(self, wishes, targets):
        return super().moves(wishes, targets) if self.declared and wishes.allows(self.tunable.name, None) else ()

    def unknown(self, targets):
        return self.says


def first_of(model, changeable=Changeable(), testers=Recruitment.AUDIENCE):  # noqa: B008
    return propose(model, [wish(0.8)], changeable, "Line", testers)[0]


def printed(proposal, model) -> str:
    answer = TuningAnswer("Line", "1.0", "x", (proposal,), {}, (), (model,), (wish(0.8),))
    return " ".join("\n".join(told(answer, "class.duckdb", {})).split())


@pytest.mark.parametrize(
    ("declared", "changeable", "why"),
    [(False, Changeable(), UNDECLARED), (True, Changeable(frozen=("ease",)), NOT_ALLOWED), (True, Changeable(), "")],
)
def test_where_nothing_can_be_turned_it_is_said_and_by_whom(declared, changeable, why):
    proposal = first_of(Free(level=LOW, declared=declared), changeable)
    assert proposal.nothing_to_turn == why
    said = headline(proposal, [wish(0.8)]) + proposal.sentence
    if why:
        assert why in headline(proposal, [wish(0.8)]) and "allowed ranges" not in said and not proposal.changes
        assert proposal.settles_it == REMEDIES[why]
    else:
        assert proposal.advice == Advice.CHANGE and "Nothing to turn" not in said


def test_nothing_to_turn_is_no_trouble_where_what_is_wanted_is_there():
    proposal = first_of(Free(level=float(np.log(4)), declared=False, doubt=0.02))
    assert proposal.advice == Advice.CLOSE_ENOUGH and headline(proposal, [wish(0.8)]).startswith("Leave it")


@pytest.mark.parametrize("declared", [True, False])
@pytest.mark.parametrize("high", [100, 54])  # a bold step, and one that nobody would see
@pytest.mark.parametrize("testers", [Recruitment.AUDIENCE, Recruitment.UNKNOWN])
def test_where_there_is_nothing_to_go_by_no_predicted_figure_is_said(declared, high, testers):
    """Of 12 people half were seen to finish, 80 % are wanted; any other share would be out of the prior alone."""
    model = Free(level=LOW, declared=declared, says="nobody died", tunable=replace(EASE, high=high))
    proposal = first_of(model, testers=testers)
    assert proposal.unknown == "nobody died" and "nobody died" in certainty(proposal)
    words = [headline(proposal, [wish(0.8)]), proposal.sentence.removesuffix(proposal.condition)]
    assert not any("%" in one for one in words)
    assert set(re.findall(r"\d+ %", printed(proposal, model))) == {"80 %", "50 %"}
    assert proposal.settles_it
