"""A proposal in words: its sentence, and what would settle a "not yet"."""

import math
from collections.abc import Sequence

from scipy.special import ndtri

from analysis.tuning.proposal import Advice, Change, PredictedTarget
from analysis.tuning.search import HARM, MOST_HARM, SURE_ENOUGH, Against
from analysis.words import amount, percent


def settles(seen: Against, like_testers: Against, stands: bool, players: int, movable: bool) -> str:
    """What would settle a "not yet". The doubt shrinks with the root of the players: how many more are needed?

    like_testers: the same change for an audience like the testers. stands: it goes the right way with other audiences.
    """
    if not movable:
        return (
            "nothing may be moved: the game declares no tunable that acts on this target, or the targets file allows "
            "none; declare one (such as lives or the fire period) and play again"
        )
    if not stands or (like_testers.sure and not seen.sure):
        why = (
            "whether it is right hangs on the audience: it is not with one that differs from the testers by a third"
            if not stands
            else "for an audience like the testers it could be recommended"
        )
        return f"{why}; let about {max(players, 8)} people play who are drawn from the audience itself, and say so"
    short = 1.0
    for chance, wanted in ((seen.better, SURE_ENOUGH), (1 - seen.harm, 1 - MOST_HARM)):
        short = max(short, float(ndtri(wanted) / ndtri(min(max(chance, 0.51), 0.999))))
    needed = math.ceil(players * short**2) - players
    if needed > 3 * max(players, 8):
        return (
            "play both settings against each other (A/B, half of the new players each): "
            f"with one build alone it would take about {needed} more first-time players"
        )
    why = ""
    if seen.better >= SURE_ENOUGH and seen.harm > MOST_HARM:
        why = (
            f"the chance that it is worse by over {100 * HARM:.0f} points is {percent(seen.harm)}, "
            f"and {percent(MOST_HARM)} is the most allowed: "
        )
    return f"{why}play about {max(needed, 2)} more first-time players on the present build, two or more runs each"


def sentence(
    advice: Advice, changes: Sequence[Change], predicted: Sequence[PredictedTarget], chance_better: float
) -> str:
    """The proposal in one sentence."""
    what = " and ".join(f"{c.tunable} from {c.now} to {c.proposed}{_unit(c.unit)}" for c in changes)
    first = predicted[0]
    outcome = "Predicted: " + "; ".join(
        f"{p.target}: from {amount(p.now.value, p.unit)} to {amount(p.proposed.value, p.unit)} "
        f"(80 % {amount(p.proposed.low80, p.unit)} to {amount(p.proposed.high80, p.unit)}, "
        f"wanted {amount(p.wanted, p.unit)})"
        for p in predicted
    )
    match advice:
        case Advice.CLOSE_ENOUGH:
            return (
                f"Leave it: {first.target} is about {amount(first.now.value, first.unit)} now, "
                f"{amount(first.wanted, first.unit)} is wanted, and no change is likely to be closer."
            )
        case Advice.CHANGE:
            return f"Change {what}. {outcome}. Chance that this is better than no change: {chance_better:.2f}."
    if not changes:
        return f"Not yet: no setting within the allowed ranges is expected to do better. {outcome}."
    return f"Not yet: {what} may help (chance {chance_better:.2f}), but the evidence is too thin. {outcome}."


def _unit(unit: str) -> str:
    return f" {unit}" if unit not in ("", "-", "lives") else ""
