"""Time between two shots of the enemies: shorter is harder."""

import math
from collections.abc import Sequence

from analysis.levers.lever import DoseLever, Part, Prior
from ingest.vocabulary import TunableRole

DEATHS = Prior(
    1.0,
    0.45,
    "twice the shots, about twice the deaths; crowded shots can make more of it, deaths that have nothing to do with "
    "shots less. No source: chosen on simulated worlds",
)
TIMES = Prior(0.1, 0.15, "dodging takes a little time. No source: a guess that a class outweighs")
UNDER = {"the rate acts in exact proportion": (1.0, 0.02), "the rate may act far more or less": (1.0, 0.9)}


def log_rate(periods: Sequence[int]) -> float:
    """ln of the rate: several kinds of enemies, each at its own period, fire together at the sum of their rates."""
    together = 1 / sum(1 / max(period, 1e-9) for period in periods)
    return -math.log(max(1e-9, together))


LEVER = DoseLever(
    TunableRole.FIRE_PERIOD,
    units=("ms", "us", "ticks"),
    easier=1,
    part=Part.STAGED,
    least=1,
    by_ratio=True,
    of=log_rate,
    deaths=DEATHS,
    times=TIMES,
    in_levels=False,
    what="fire rate",
    played="rate",
    symbol="e",
    under=UNDER,
    more="let enemies fire {part} less often",
    less="let enemies fire {part} more often",
    rate=True,
)
