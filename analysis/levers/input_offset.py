"""What is taken off the time of a press before it is judged: it moves both edges of the window alike.

Which way is easier hangs on where the players' presses fall.
"""

from analysis.levers.lever import EdgeLever, Part
from ingest.vocabulary import TunableRole

LEVER = EdgeLever(
    TunableRole.INPUT_OFFSET,
    units=("ms", "us", "ticks"),
    easier=0,
    part=Part.NOTES,
    early_edge=1,
    late_edge=1,
    more="judge presses with an offset of {value} {unit}",
    less="judge presses with an offset of {value} {unit}",
)
