"""Did it help, in plain words, and never in stronger ones than the data: one verdict a target, one for all."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from analysis.findings.progress.fair import Unfair
from analysis.models.targets import Target
from analysis.stats.estimate import LEVEL
from analysis.tuning.scoring import Difference

# Half of what was wished for: where the data speak against a gain as large, it did not help. A choice, no source.
_OF_THE_WISH = 0.5


class Verdict(StrEnum):
    """What became of one target."""

    HELPED = "helped"
    TOO_FAR = "too far"
    WORSE = "worse"
    NOT = "not"
    CHANGED = "changed"  # nothing was wanted
    PRACTICE = "practice"
    UNTAGGED = "untagged"
    PICKED = "picked"  # the earlier build had come out low, or high, by chance
    UNSURE = "unsure"
    NOBODY = "nobody"


@dataclass(frozen=True)
class Expected:
    """What was to be expected of the earlier build if it was played again, in the target's unit, and what says so."""

    value: float
    by: str


def sure_level(targets: int) -> float:
    """The level at which a change must be clear, so that the chances to call one a gain by mistake add up to 5 %."""
    return max(LEVEL, 1 - 2 * (1 - LEVEL) / max(1, targets))


def most_careful(found: Difference, expected: Sequence[Expected]) -> Expected | None:
    """Of what may be expected of the earlier build, that which leaves least of the difference; None of none."""
    up = (found.value or 0.0) >= 0
    ranked = sorted(expected, key=lambda one: one.value if up else -one.value)
    return ranked[-1] if ranked else None


def from_expected(found: Difference, expected: Expected) -> Difference:
    """The difference from what was to be expected of the earlier build, with an interval as wide."""
    if found.before is None or found.value is None or found.low is None or found.high is None:
        return found
    moved = expected.value - found.before
    return replace(found, value=found.value - moved, low=found.low - moved, high=found.high - moved)


def verdict_of(
    target: Target, wanted: bool, found: Difference, expected: Expected | None, unfair: Unfair | None
) -> Verdict:
    """The verdict on one target. found: in the target's unit, at `sure_level`; wanted: whether anything was."""
    if unfair is not None:
        return Verdict.PRACTICE if unfair == Unfair.PRACTICE else Verdict.UNTAGGED
    if found.before is None or found.after is None:
        return Verdict.NOBODY
    told = _direction(found)
    if not told:
        return Verdict.NOT if wanted and _ruled_out(target, found) else Verdict.UNSURE
    if expected is not None and _direction(from_expected(found, expected)) != told:
        return Verdict.PICKED
    if not wanted:
        return Verdict.CHANGED
    if told != _wished(target, found.before):
        return Verdict.WORSE
    return Verdict.HELPED if target.miss(found.after) < target.miss(found.before) else Verdict.TOO_FAR


def _direction(found: Difference) -> int:
    """1 up, -1 down, 0 where the interval does not tell."""
    if found.low is None or found.high is None:
        return 0
    return int(found.low > 0) - int(found.high < 0)


def _wished(target: Target, before: float) -> int:
    """1 where more was wanted, -1 where less; 0 where the wish was met."""
    return 0 if target.miss(before) == 0 else 1 if target.wanted > before else -1


def _ruled_out(target: Target, found: Difference) -> bool:
    """Whether the interval leaves no room for half of what was wished."""
    if found.before is None or found.low is None or found.high is None or not _wished(target, found.before):
        return False
    wish = _OF_THE_WISH * (target.wanted - found.before)
    return found.high < wish if wish > 0 else found.low > wish


def of_all(verdicts: Sequence[Verdict]) -> tuple[str, Verdict]:
    """The verdict on all targets in a few words, and the kind of target that carries it."""
    there = set(verdicts)
    if {Verdict.HELPED, Verdict.WORSE} <= there:
        return "It helped in part, and made something worse", Verdict.HELPED
    for kind, words in _WORDS.items():
        if kind in there:
            return words, kind
    return "Cannot be told yet", Verdict.UNSURE


_WORDS = {
    Verdict.WORSE: "It made it worse",
    Verdict.HELPED: "It helped",
    Verdict.TOO_FAR: "It went too far",
    Verdict.CHANGED: "It made a difference",
    Verdict.PRACTICE: "Cannot be told: the same people played it later",
    Verdict.UNTAGGED: "Cannot be told: it is not known who played",
    Verdict.PICKED: "Cannot be told: the earlier build had come out where it did by chance in part",
    Verdict.UNSURE: "Cannot be told yet",
    Verdict.NOT: "It probably did not",
    Verdict.NOBODY: "Cannot be told: nobody whom the target speaks of played both builds",
}
# Verdicts that leave the question open.
OPEN = frozenset({Verdict.PRACTICE, Verdict.UNTAGGED, Verdict.PICKED, Verdict.UNSURE, Verdict.NOBODY})
