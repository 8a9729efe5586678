"""What of a game's tunables may be moved, alone and together, and through which values."""

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.levers import lever_of
from analysis.models.data import Tunable
from analysis.models.setting import Setting
from analysis.models.targets import Changeable
from ingest.vocabulary import TunableRole

# A value of which no model distinguishes more than so many steps over its whole range.
MOST_VALUES = 400
# Of several with few values each, all combinations are tried up to so many tunables.
MOST_COMBINED = 4


@dataclass(frozen=True)
class Move:
    """Tunables that are moved together. options: what they may be set to, from one end to the other.

    joint: it is all that may be moved of its role, so that the search for a joint setting need look at no other.
    """

    name: str
    options: tuple[Setting, ...]
    joint: bool = False


def moves_of(tunables: Sequence[Tunable], wishes: Changeable, matters: Callable[[Setting], bool]) -> tuple[Move, ...]:
    """Each of the `tunables` that may be moved alone, and those of one role together.

    matters: whether a setting changes any figure that is asked for.
    """
    found: list[Move] = []
    allowed = [t for t in tunables if wishes.allows(t.name, t.role)]
    for role in dict.fromkeys(t.role for t in allowed):
        own = []
        ranges = {t.name: wishes.range(t.name, t.role, t.low, t.high) for t in allowed if t.role == role}
        for tunable in (t for t in allowed if t.role == role):
            options = tuple({tunable.name: v} for v in _holdable(tunable, ranges[tunable.name]))
            if len(options) > 1 and (matters(options[0]) or matters(options[-1])):
                own.append(tunable)
                found.append(Move(tunable.name, options))
        together = _together(role, own, ranges) if len(own) > 1 else None
        if together is not None:
            found.insert(0, together)
        elif len(own) == 1:
            found[-1] = replace(found[-1], joint=True)
    return tuple(move for move in found if len(move.options) > 1)


def _together(role: TunableRole | None, tunables: Sequence[Tunable], ranges: dict[str, tuple[int, int]]) -> Move | None:
    """Several tunables of one role as one move, as its lever says."""
    lever = lever_of(role)
    if lever is not None and lever.by_ratio:
        return Move(f"{role} together", _scaled(tunables, ranges), joint=True)
    if lever is not None and lever.in_combination and len(tunables) <= MOST_COMBINED:
        product = itertools.product(*[[(t.name, v) for v in _holdable(t, ranges[t.name])] for t in tunables])
        return Move(f"{role} by stage", tuple(dict(p) for p in product), joint=True)
    return None


def _holdable(tunable: Tunable, limits: tuple[int, int]) -> list[int]:
    """The values within limits that the firmware can hold and that mean something; of very many, evenly spread ones."""
    lever = lever_of(tunable.role)
    within = holdable_within(tunable.holdable, *(lever.limits(*limits) if lever else limits))
    return sorted({*within[:: max(1, len(within) // MOST_VALUES)], tunable.value})


def _scaled(tunables: Sequence[Tunable], ranges: dict[str, tuple[int, int]]) -> tuple[Setting, ...]:
    """All of one role scaled by common factors, each rounded to what it can hold."""
    options: list[Setting] = []
    for factor in np.exp(np.linspace(math.log(0.25), math.log(4), 121)):
        setting = {t.name: nearest(t, t.value * factor, ranges[t.name]) for t in tunables}
        if not options or setting != options[-1]:
            options.append(setting)
    now = {t.name: t.value for t in tunables}
    if now not in options:
        options.append(now)
        options.sort(key=lambda s: sum(math.log(max(v, 1)) for v in s.values()))
    return tuple(options)


def nearest(tunable: Tunable, value: float, limits: tuple[int, int] | None = None) -> int:
    """The value nearest to `value` that the firmware can hold within `limits`; the present one if there is none."""
    values = tunable.holdable if limits is None else holdable_within(tunable.holdable, *limits)
    if not values:
        return tunable.value
    aim = tunable.low + round((value - tunable.low) / values.step) * values.step
    return int(min(values[-1], max(values[0], aim)))


def holdable_within(values: range, low: int, high: int) -> range:
    """Those of `values` from `low` to `high`."""
    first = max(0, -(-(low - values.start) // values.step))
    return values[first : max(first, (high - values.start) // values.step + 1)]


def movable(tunables: Sequence[Tunable], wishes: Changeable) -> list[Tunable]:
    """Those that may be moved, each with the range that it may be moved in."""
    found = []
    for tunable in tunables:
        limits = wishes.range(tunable.name, tunable.role, tunable.low, tunable.high)
        values = holdable_within(tunable.holdable, *limits)
        if wishes.allows(tunable.name, tunable.role) and len(values) > 1:
            found.append(replace(tunable, low=values[0], high=values[-1]))
    return found
