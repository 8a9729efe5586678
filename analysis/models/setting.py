"""What a set of tunables' values means to the model: fire rate of each segment, lives policy, pick-ups."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.models.data import Segment, Tunable

Setting = Mapping[str, int]
MOST_LIVES = 15


@dataclass(frozen=True)
class Rules:
    """A setting as the outcome chain plays it. Arrays are by segment.

    log_rate: ln of the enemies' fire rate (or the speed of the blocks) in shots (rows) a unit of time.
    refill: on entering the segment, 0 nothing, 1 one more life, 2 up to start_lives.
    """

    start_lives: int
    refill: np.ndarray
    log_rate: np.ndarray
    aimed: np.ndarray
    log_pickup: np.ndarray
    tiers_survive: float | None


def values_of(tunables: Sequence[Tunable]) -> dict[str, int]:
    """The present values by name."""
    return {tunable.name: tunable.value for tunable in tunables}


def rules(
    tunables: Sequence[Tunable], segments: Sequence[Segment], setting: Setting, lives_seen: int = 1
) -> Rules:
    """What `setting` (values by tunable name; what it leaves out stays as it is) does in each segment.

    Where nothing in the log says how many lives there are, `lives_seen` holds.
    """
    now = {**values_of(tunables), **setting}
    lives = [now[t.name] for t in tunables if t.role == "start_lives"]
    refill = [
        (_narrowest(tunables, segment, "lives_refill", now, max) or 0.0) if _new_stage(segments, n) else 0.0
        for n, segment in enumerate(segments)
    ]
    rate_role = "drop_interval" if segments and segments[0].is_level else "fire_period"
    rate = [_narrowest(tunables, segment, rate_role, now, _together) or 1.0 for segment in segments]
    aimed = [_narrowest(tunables, segment, "aimed_share", now, _mean) or 0.0 for segment in segments]
    pickup = [_narrowest(tunables, segment, "pickup_rate", now, _mean) for segment in segments]
    survive = [now[t.name] for t in tunables if t.role == "tiers_survive"]
    return Rules(
        start_lives=min(MOST_LIVES, max(1, lives[0] if lives else lives_seen)),
        refill=np.array([int(r) for r in refill], dtype=int),
        log_rate=-np.log(np.maximum(1e-9, np.array(rate, dtype=float))),
        aimed=np.clip(np.array(aimed, dtype=float) / 100, 0, 1),
        # A rate of 0 must stay finite in logs: e^-20 is never.
        log_pickup=np.array([0.0 if p is None else math.log(p) if p > 0 else -20.0 for p in pickup]),
        tiers_survive=float(bool(survive[0])) if survive else None,
    )


def _new_stage(segments: Sequence[Segment], n: int) -> bool:
    """Lives are refilled when the next stage number begins, not between a regular part and its boss."""
    return n > 0 and segments[n].number != segments[n - 1].number


def _narrowest(
    tunables: Sequence[Tunable],
    segment: Segment,
    role: str,
    now: Setting,
    join: Callable[[list[int]], float],
) -> float | None:
    fitting = [t for t in tunables if t.role == role and _applies(t, segment)]
    if not fitting:
        return None
    narrow = max(t.narrowness for t in fitting)
    return join([now[t.name] for t in fitting if t.narrowness == narrow])


def _applies(tunable: Tunable, segment: Segment) -> bool:
    if segment.is_level:
        return (
            tunable.level in (None, segment.number) and tunable.stage is None and tunable.stage_kind is None
        )
    in_stage = tunable.stage in (None, segment.number) and tunable.stage_kind in (None, segment.boss)
    return in_stage and tunable.level is None


def _together(periods: Sequence[int]) -> float:
    """Several kinds of enemies firing at their own periods fire together at the sum of their rates."""
    return 1 / sum(1 / max(period, 1e-9) for period in periods)


def _mean(values: Sequence[int]) -> float:
    return sum(values) / len(values)
