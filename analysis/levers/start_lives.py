"""Lives at the start of a run: that many deaths end it."""

from analysis.levers.lever import PolicyLever, Rule, first
from ingest.vocabulary import TunableRole

# The chain keeps a state for each number of lives; a game with more is hardly to be lost.
MOST = 15

LEVER = PolicyLever(
    TunableRole.START_LIVES,
    units=("lives",),
    easier=1,
    least=1,
    most=MOST,
    by_ratio=True,
    rule=Rule.START_LIVES,
    of=first,
    more="give {value} lives",
    less="give only {value} lives",
)
