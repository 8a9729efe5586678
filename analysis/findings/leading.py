"""Which of the findings on one question is its answer, and which stand beside it."""

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.finding import CERTAINTIES, Finding

# Beside the answer; whoever wants more opens the rest.
MOST_BESIDE = 3


@dataclass(frozen=True)
class Arranged:
    """The findings of one question in the order of reading: the answer, what stands beside it, and the rest."""

    answer: Finding
    beside: tuple[Finding, ...]
    rest: tuple[Finding, ...]


def arranged(found: Sequence[Finding]) -> Arranged:
    """found: at least one, the more telling first, as each room of findings returns them.

    The answer is the first headline that is beyond doubt, else the first at all; what has a headline comes before what
    has none.
    """
    solid = CERTAINTIES[0]
    ordered = sorted(found, key=lambda one: 2 if not one.headline else int(one.certainty != solid))
    return Arranged(ordered[0], tuple(ordered[1 : 1 + MOST_BESIDE]), tuple(ordered[1 + MOST_BESIDE :]))
