"""How long before its due time a press still counts."""

from analysis.levers.lever import EdgeLever, Part
from ingest.vocabulary import TunableRole

LEVER = EdgeLever(
    TunableRole.WINDOW_EARLY,
    units=("ms", "us", "ticks"),
    easier=1,
    part=Part.NOTES,
    early_edge=-1,
    more="count presses up to {value} {unit} early",
    less="count presses only up to {value} {unit} early",
)
