"""A proposal with other audiences than the testers: what no playtest shows, and what a change must stand."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.models.audience import LIKE_TESTERS, THIRD_LESS, THIRD_MORE, shift_of
from analysis.models.fitted import Fitted
from analysis.models.setting import Setting
from analysis.models.targets import Target
from analysis.tuning.proposal import OtherAudience
from analysis.tuning.search import Against, against
from analysis.words import amount, counted
from ingest.vocabulary import RECRUITMENT_WORDS, Recruitment


@dataclass(frozen=True)
class _Case:
    audience: str
    model: Fitted
    now: np.ndarray


class Audiences:
    """The audiences that a proposal is tried with: like the testers, a third worse off, a third better off."""

    def __init__(self, model: Fitted, targets: Sequence[Target], testers: Recruitment):
        self._targets, self._testers = tuple(targets), testers
        people = counted(model.players, "person", "people")
        shifts = [(f"if the audience plays like these {people}", LIKE_TESTERS)]
        if model.more:
            shifts += [(f"if {model.more}", THIRD_MORE), (f"if {model.less}", THIRD_LESS)]
        self._known: dict[tuple[tuple[str, int], ...], tuple[tuple[OtherAudience, Against], ...]] = {}
        self._cases = [_case(words, model.for_audience(shift), self._targets) for words, shift in shifts]

    def of(self, setting: Setting) -> tuple[OtherAudience, ...]:
        """What is predicted with each, medians by target."""
        return tuple(one for one, _ in self._each(setting))

    def stands(self, setting: Setting) -> bool:
        """Does the change go the right way with all of them? Where the testers were drawn from the audience that need
        not be asked: chance alone makes them differ, and the intervals hold that."""
        return self._testers == Recruitment.AUDIENCE or not any(one.turns for one in self.of(setting))

    def like_testers(self, setting: Setting) -> Against:
        """The change against none, for an audience like the testers."""
        return self._each(setting)[0][1]

    def _each(self, setting: Setting) -> tuple[tuple[OtherAudience, Against], ...]:
        key = tuple(sorted(setting.items()))
        if key not in self._known:
            self._known[key] = tuple(self._one(case, setting) for case in self._cases)
        return self._known[key]

    def _one(self, case: _Case, setting: Setting) -> tuple[OtherAudience, Against]:
        then = case.model.figures(setting, self._targets, quick=True) if setting else case.now
        held = against(self._targets, case.now, then)
        now, proposed = (tuple(float(v) for v in np.median(figures, axis=1)) for figures in (case.now, then))
        return OtherAudience(case.audience, now, proposed, held.gain < 0), held


def _case(words: str, model: Fitted, targets: Sequence[Target]) -> _Case:
    return _Case(words, model, model.figures({}, targets, quick=True))


def condition(testers: Recruitment, players: int) -> str:
    """Of whom a proposal speaks, in a sentence."""
    people = counted(players, "person", "people")
    like, factor = f"the audience plays like these {people}", amount(round(float(np.exp(shift_of(testers).mean)), 2))
    match testers:
        case Recruitment.AUDIENCE:
            return f"This is said if {like}, who were drawn from it."
        case Recruitment.FRIENDS:
            return (
                f"These {people} are {RECRUITMENT_WORDS[testers]}: it is not taken that {like}, but that its danger is "
                f"about {factor} times theirs."
            )
        case Recruitment.VOLUNTEERS:
            return f"This is said if {like}, or its danger is about {factor} times theirs: they are volunteers."
    return (
        f"How they were found is not known: it is not taken that {like}, but that its danger is about {factor} times "
        "theirs, as with friends. If they are no better than the audience, it finds the game easier than is said here; "
        "if they are better still, harder, and a change may be wrong. Say how they were found."
    )
