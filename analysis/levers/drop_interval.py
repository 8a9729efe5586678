"""Time that a falling block takes for one row: shorter is harder. A game that has it is played in levels."""

from analysis.levers import fire_period
from analysis.levers.lever import DoseLever, Part, Prior
from ingest.vocabulary import TunableRole

DEATHS = Prior(
    1.0,
    0.45,
    "twice the speed, about twice the mistakes a second; how well people keep up differs. No source, as for a fire "
    "rate",
)
TIMES = Prior(0.1, 0.15, "a level ends after so many rows. No source: as for a fire rate")

LEVER = DoseLever(
    TunableRole.DROP_INTERVAL,
    units=("ms", "us", "ticks"),
    easier=1,
    part=Part.BLOCKS,
    least=1,
    by_ratio=True,
    of=fire_period.log_rate,
    deaths=DEATHS,
    times=TIMES,
    in_levels=True,
    what="block speed",
    played="rate",
    symbol="e",
    under=fire_period.UNDER,
    more="let blocks fall {part} slower",
    less="let blocks fall {part} faster",
    rate=True,
)
