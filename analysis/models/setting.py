"""What a set of tunables' values means to the model: the rules of the outcome chain, and each lever's dose."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.levers import PolicyLever, Rule, policy_levers, rate_levers
from analysis.levers.start_lives import MOST
from analysis.models.data import Segment, Tunable
from ingest.vocabulary import TunableRole

Setting = Mapping[str, int]


@dataclass(frozen=True)
class Rules:
    """A setting as the outcome chain plays it.

    refill: (segments,) on entering: 0 nothing, 1 one more life, 2 up to start_lives. keep_tier: chance that a death
    costs no tier; None: as was seen. doses: (segments,) of each lever that acts on rates in such a game.
    """

    start_lives: int
    refill: np.ndarray
    keep_tier: float | None
    doses: Mapping[TunableRole, np.ndarray]


def values_of(tunables: Sequence[Tunable]) -> dict[str, int]:
    """The present values by name."""
    return {tunable.name: tunable.value for tunable in tunables}


def rules(tunables: Sequence[Tunable], segments: Sequence[Segment], setting: Setting, lives_seen: int = 1) -> Rules:
    """What `setting` (values by tunable name; what it leaves out stays as it is) does in each segment.

    Where nothing in the log says how many lives there are, `lives_seen` holds.
    """
    now = {**values_of(tunables), **setting}
    levels = bool(segments) and segments[0].is_level
    policies = {lever.rule: lever for lever in policy_levers()}

    by_role: defaultdict[TunableRole | None, list[Tunable]] = defaultdict(list)
    for tunable in tunables:
        by_role[tunable.role].append(tunable)

    def of_the_run(rule: Rule) -> float | None:
        values = [now[t.name] for t in by_role[policies[rule].role]]
        return policies[rule].of(values) if values else None

    lives = of_the_run(Rule.START_LIVES)
    return Rules(
        start_lives=int(min(MOST, max(1, lives_seen if lives is None else lives))),
        refill=_refills(policies[Rule.REFILL], by_role, segments, now),
        keep_tier=of_the_run(Rule.KEEP_TIER),
        doses={
            lever.role: np.array(
                [
                    lever.of(values) if (values := _in_force(by_role[lever.role], segment, now)) else lever.absent
                    for segment in segments
                ],
                dtype=float,
            )
            for lever in rate_levers()
            if lever.in_levels in (None, levels)
        },
    )


def _refills(
    lever: PolicyLever, by_role: Mapping[TunableRole | None, list[Tunable]], segments: Sequence[Segment], now: Setting
) -> np.ndarray:
    """(segments,) what is given on entering each."""
    found = np.zeros(len(segments), dtype=int)
    for n, segment in enumerate(segments):
        values = _in_force(by_role[lever.role], segment, now) if _new_stage(segments, n) else []
        if values:
            found[n] = int(lever.of(values))
    return found


def _new_stage(segments: Sequence[Segment], n: int) -> bool:
    """Lives are refilled when the next stage number begins, not between a regular part and its boss."""
    return n > 0 and segments[n].number != segments[n - 1].number


def _in_force(tunables: Sequence[Tunable], segment: Segment, now: Setting) -> list[int]:
    """The values that hold in a segment: those of the narrowest tunables, of one role, that apply there."""
    fitting = [t for t in tunables if _applies(t, segment)]
    narrow = max((t.narrowness for t in fitting), default=0)
    return [now[t.name] for t in fitting if t.narrowness == narrow]


def _applies(tunable: Tunable, segment: Segment) -> bool:
    if segment.is_level:
        return tunable.level in (None, segment.number) and tunable.stage is None and tunable.stage_kind is None
    in_stage = tunable.stage in (None, segment.number) and tunable.stage_kind in (None, segment.boss)
    return in_stage and tunable.level is None
