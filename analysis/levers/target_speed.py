"""Speed of the one-shot game's target: faster is harder. Every trial may log its own speed."""

import math
from collections.abc import Sequence

from analysis.levers.lever import DoseLever, Part, Prior
from ingest.vocabulary import TunableRole

_SLOPE = Prior(
    -2.0,
    1.0,
    "at half the speed four times the odds of a hit (half as many or twice as many times, give or take). No source: a "
    "class of twelve outweighs it",
)


def _log_speed(speeds: Sequence[int]) -> float:
    return math.log(max(speeds[0], 1))


LEVER = DoseLever(
    TunableRole.TARGET_SPEED,
    units=(),
    easier=-1,
    part=Part.TRIALS,
    least=1,
    by_ratio=True,
    of=_log_speed,
    success=_SLOPE,
    each_logged=True,
    what="speed",
    played="speed",
    symbol="-s",
    under={
        "speed matters half as much": (_SLOPE.mean / 2, 0.05),
        "speed may matter far more or less": (_SLOPE.mean, 2 * _SLOPE.sd),
    },
    more="make the target {part} faster",
    less="make the target {part} slower",
)
