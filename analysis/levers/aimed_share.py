"""Share of the enemies' shots that are aimed at the player, in percent."""

from collections.abc import Sequence

from analysis.levers.lever import DoseLever, Part, Prior, mean
from ingest.vocabulary import TunableRole


def _share(percents: Sequence[int]) -> float:
    return min(1.0, max(0.0, mean(percents) / 100))


LEVER = DoseLever(
    TunableRole.AIMED_SHARE,
    units=("percent",),
    easier=-1,
    part=Part.STAGED,
    of=_share,
    deaths=Prior(0.8, 0.5, "all shots aimed instead of none, twice the deaths, give or take half. No source"),
    what="all shots aimed instead of none",
    played="share of aimed shots",
    more="aim {value} % of the shots at the player",
    less="aim only {value} % of the shots at the player",
)
