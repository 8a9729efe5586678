"""Targets that no game can reach together: of two figures, one can never be more than the other, and yet is to be.

Only what holds in every game is looked at, such as that whoever finishes has reached every stage; two targets that one
game reaches and another does not are the designers' own affair.
"""

from collections.abc import Sequence
from itertools import combinations

from analysis.models.targets import Aim, Outcome, Population, Statistic, Target

_ROUNDING = 1e-9


def contradiction(targets: Sequence[Target]) -> tuple[Target, Target] | None:
    """The first two targets that exclude each other, the one that wants too much first; None where no two do.

    A target is reached within its tolerance; so two exclude each other where even then the figure that can never be
    the larger of the two would have to be.
    """
    for one, other in combinations(targets, 2):
        for smaller, larger in ((one, other), (other, one)):
            if _never_more(smaller, larger) and _least(smaller) > _most(larger) + _ROUNDING:
                return smaller, larger
    return None


def same_figure(one: Target, other: Target) -> bool:
    """Whether both speak of one figure."""
    return _never_more(one, other) and _never_more(other, one)


def _least(target: Target) -> float:
    return target.wanted - target.tolerance if target.aim != Aim.AT_MOST else float("-inf")


def _most(target: Target) -> float:
    return target.wanted + target.tolerance if target.aim != Aim.AT_LEAST else float("inf")


def _never_more(smaller: Target, larger: Target) -> bool:
    """Whether in every game the figure of `smaller` is at most that of `larger`."""
    if (smaller.statistic == Statistic.SHARE) != (larger.statistic == Statistic.SHARE):
        return False
    if smaller.statistic != Statistic.SHARE:
        same = (smaller.outcome, smaller.song) == (larger.outcome, larger.song)
        return same and _of_whom(smaller) == _of_whom(larger) and _quantile_in_order(smaller, larger)
    (attempt, within), (other_attempt, other_within) = _of_whom(smaller), _of_whom(larger)
    return attempt == other_attempt and within <= other_within and _implies(smaller, larger)


def _of_whom(target: Target) -> tuple[int, int]:
    """The attempt that is looked at, and for players the number of attempts of which one will do.

    The first attempt is the same for every population.
    """
    if target.population == Population.NEW_PLAYERS:
        return 1, target.attempts
    return target.attempt, 1


def _quantile_in_order(smaller: Target, larger: Target) -> bool:
    if smaller.quantile is None or larger.quantile is None:
        return smaller.quantile is larger.quantile  # two means
    return smaller.quantile <= larger.quantile


def _implies(one: Target, other: Target) -> bool:
    """Whether a run that does the one has always done the other too. Stages, bosses, seconds come in their order."""
    finishes = (Outcome.FINISH, Outcome.FINISH_WITHIN)
    if one.outcome in finishes:
        return other.outcome in (*finishes, Outcome.REACH_STAGE, Outcome.SURVIVE)
    if one.outcome != other.outcome:
        return False
    return (one.number or 0, one.boss) >= (other.number or 0, other.boss)
