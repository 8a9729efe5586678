"""How long after its due time a press still counts."""

from analysis.levers.lever import EdgeLever
from ingest.vocabulary import TunableRole

LEVER = EdgeLever(TunableRole.WINDOW_LATE, units=("ms", "us", "ticks"), easier=1, late_edge=1)
