"""How often upgrades of the weapon appear."""

import math
from collections.abc import Sequence

from analysis.levers.lever import DoseLever, Prior, mean
from ingest.vocabulary import TunableRole

# A rate of 0 must stay finite in logs: e^-20 is never.
_NEVER = -20.0


def _log_rate(rates: Sequence[int]) -> float:
    rate = mean(rates)
    return math.log(rate) if rate > 0 else _NEVER


class _PickupRate(DoseLever):
    def carried_by(self, settled: float | None, seen: str = "") -> str:
        return "prior: pick-ups are taken to come in proportion to the rate; the effect of a tier is from the data"


LEVER = _PickupRate(
    TunableRole.PICKUP_RATE,
    units=("percent",),
    easier=1,
    by_ratio=True,
    of=_log_rate,
    rises=Prior(1.0, 0.3, "twice the upgrades, about twice the pick-ups, fewer where some are left lying. No source"),
    more="let upgrades appear {part} more often",
    less="let upgrades appear {part} less often",
)
