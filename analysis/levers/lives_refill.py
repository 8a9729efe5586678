"""What happens to the lives when the next stage number begins: nothing, one more, or up to those at the start."""

from analysis.levers.lever import PolicyLever, Rule
from ingest.vocabulary import LivesRefill, TunableRole

# Of two that hold in one place the more generous one counts.
LEVER = PolicyLever(
    TunableRole.LIVES_REFILL,
    units=("-",),
    easier=1,
    least=min(LivesRefill),
    most=max(LivesRefill),
    in_combination=True,
    rule=Rule.REFILL,
    of=max,
    by_value={
        0: "refill no lives between stages",
        1: "give one life more at each stage",
        2: "refill the lives at each stage",
    },
)
