"""Whether a death costs a tier of the weapon: 1, it does not."""

from collections.abc import Sequence

from analysis.levers.lever import PolicyLever, Rule
from ingest.vocabulary import TunableRole


def _kept(values: Sequence[int]) -> float:
    return float(bool(values[0]))


LEVER = PolicyLever(
    TunableRole.TIERS_SURVIVE,
    units=("-",),
    easier=1,
    least=0,
    most=1,
    rule=Rule.KEEP_TIER,
    of=_kept,
    by_value={0: "let a death cost a tier of the weapon", 1: "let the weapon survive a death"},
)
