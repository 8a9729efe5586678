"""A proposal in words: its sentence, and what would settle a "not yet"."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from scipy.special import ndtri

from analysis.stats.estimate import INNER
from analysis.tuning.players_needed import MOST_PLAYERS, more_needed, players_to_know
from analysis.tuning.proposal import Advice, Change, PredictedTarget, more_quit
from analysis.tuning.search import HARM, MOST_HARM, SURE_ENOUGH, Against
from analysis.words import amount, counted, interval_name, percent, span

# Of fewer people nothing is recommended: one more could turn it. USUAL: as many as a playtest of a class has. Common
# sense, no source.
FEWEST, USUAL = 5, 12
# Why no value can be proposed -> what to do about it.
UNDECLARED = "the game declares no value that acts on this"
NOT_ALLOWED = "the targets let none of its values be changed"
REMEDIES = {
    UNDECLARED: (
        "declare values with their roles in the game's dictionary (such as lives or the fire period), flash it, "
        "and play again"
    ),
    NOT_ALLOWED: "let at least one of the values that act on this be changed",
}
EXCLUSIVE = "Not reachable together within what may be changed"


@dataclass(frozen=True)
class Doubt:
    """What stands against a change. seen: the change against none; like_testers: for an audience like the testers.

    stands: it goes the right way with other audiences too. exclusive, unknown, nothing_to_turn: as in Proposal.
    players: how many have played.
    """

    seen: Against
    like_testers: Against
    stands: bool
    exclusive: bool
    unknown: str
    players: int
    nothing_to_turn: str = ""

    @property
    def few(self) -> bool:
        """Too few have played for anything to be recommended."""
        return self.players < FEWEST


def settles(doubt: Doubt, first: PredictedTarget) -> str:
    """What would settle it. first: the target that a plan is made for, to say beside it how many that asks for."""
    seen, players = doubt.seen, doubt.players
    if doubt.nothing_to_turn:
        return REMEDIES[doubt.nothing_to_turn]
    if doubt.few:
        return f"{counted(players, 'person has', 'people have')} played; let at least {USUAL - players} more play"
    if doubt.unknown:
        return "change boldly, play again with a few people, and ask then"
    if doubt.exclusive:
        return (
            "no playtest: within what may be changed these targets exclude each other; give one of them up, widen a "
            "tolerance, or let more be changed"
        )
    if seen.small:
        return "no playtest of a class: the step is too small to be seen; leave it, or allow a larger one"
    if not doubt.stands or (doubt.like_testers.sure and not seen.sure):
        why = (
            "for an audience like the testers it could be recommended"
            if doubt.stands
            else "with an audience that differs from the testers by a third it may be wrong"
        )
        return f"{why}; let about {max(players, 8)} people play who are drawn from the audience itself, and say so"
    # A chance grows as the margin of error of the gain shrinks.
    needed = max(
        more_needed(players, float(ndtri(wanted)), float(ndtri(min(max(chance, 0.51), 0.999))))
        for chance, wanted in ((seen.better, SURE_ENOUGH), (1 - seen.harm, 1 - MOST_HARM))
    )
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
    return (
        f"{why}play about {max(needed, 2)} more first-time players on the present build, two or more runs each, "
        f"to tell whether this change helps; {_to_know(players, first)}"
    )


def _to_know(players: int, first: PredictedTarget) -> str:
    """How many it takes to know a target as things are, as a plan says: another question than whether a change helps.

    Of people like the testers, since those who are to come will be found in the same way.
    """
    margin = (first.testers_now.high80 - first.testers_now.low80) / 2
    more = players_to_know(players, margin, first.tolerance)
    takes = f"more than {MOST_PLAYERS}" if more is None else f"{more}"
    return f"to know {first.target} itself to {amount(first.tolerance, first.unit)} either way takes {takes} more"


def sentence(
    advice: Advice,
    changes: Sequence[Change],
    predicted: Sequence[PredictedTarget],
    doubt: Doubt,
    side_effects: Mapping[str, Any],
) -> str:
    """The proposal in a few sentences: first that more would quit, where that is so."""
    chance_better, quits = doubt.seen.better, more_quit_words(side_effects)
    what = " and ".join(f"{c.tunable} from {c.now} to {c.proposed}{_unit(c.unit)}" for c in changes)
    first = predicted[0]
    outcome = "Predicted: " + "; ".join(
        f"{p.target}: from {amount(p.now.value, p.unit)} to {amount(p.proposed.value, p.unit)} "
        f"({interval_name(INNER)} {span(p.proposed.low80, p.proposed.high80, p.unit)}, "
        f"{amount(p.wanted, p.unit)} wanted)"
        for p in predicted
    )
    match advice:
        case Advice.CLOSE_ENOUGH:
            return (
                f"Leave it: {first.target} is about {amount(first.now.value, first.unit)} now, "
                f"{amount(first.wanted, first.unit)} is wanted, and no change is likely to be closer."
            )
        case Advice.EXPLORE:
            return (
                f"No information there: {doubt.unknown}. Change boldly, such as {what}, and play again; how far that "
                "would come cannot be said."
            )
        case Advice.CHANGE:
            nearest = f" {EXCLUSIVE}: this is the nearest." if doubt.exclusive else ""
            better = f"Chance that this is better than no change: {percent(chance_better)}."
            return f"{quits}Change {what}.{nearest} {outcome}. {better}"
    if doubt.nothing_to_turn:
        if doubt.unknown:
            return f"Nothing to turn: {doubt.nothing_to_turn}. Nothing to go by either: {doubt.unknown}."
        as_it_is = "; ".join(
            f"{p.target}: {amount(p.now.value, p.unit)}, {amount(p.wanted, p.unit)} wanted" for p in predicted
        )
        return f"Nothing to turn: {doubt.nothing_to_turn}. Predicted as it is: {as_it_is}."
    if not changes:
        if doubt.unknown:
            return f"Not yet: {doubt.unknown}, and no setting within the allowed ranges is expected to do better."
        why = f"{EXCLUSIVE}, and nothing" if doubt.exclusive else "Not yet: no setting within the allowed ranges"
        return f"{why} is expected to do better. {outcome}."
    if doubt.unknown:
        return f"Not yet: {doubt.unknown}, so how far {what} would come cannot be said."
    if doubt.exclusive:
        return f"{quits}{EXCLUSIVE}. The nearest is {what}. {outcome}."
    if doubt.seen.small:
        return f"Not yet: {what} is too small a step to be seen. {outcome}."
    why = "the evidence is too thin"
    if doubt.few:
        why = f"only {counted(doubt.players, 'person has', 'people have')} played"
    elif not doubt.stands:
        why = "whether it is right hangs on who the audience is"
    return f"{quits}Not yet: {what} may help (chance {percent(chance_better)}), but {why}. {outcome}."


def more_quit_words(side_effects: Mapping[str, Any]) -> str:
    """That clearly more would quit; empty where they would not, or the model does not know."""
    shares = more_quit(side_effects)
    return f"More would quit: {percent(shares[1])} of first runs instead of {percent(shares[0])}. " if shares else ""


def _unit(unit: str) -> str:
    return f" {unit}" if unit not in ("", "-", "lives") else ""
