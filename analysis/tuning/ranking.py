"""From a fitted model and targets to ranked proposals, each with its doubt."""

import math
from collections.abc import Callable, Sequence

import numpy as np
from scipy.special import ndtri

from analysis.models.fitted import Fitted
from analysis.models.observed import Observed
from analysis.models.setting import Setting
from analysis.models.targets import Changeable, Statistic, Target
from analysis.stats.estimate import PREDICTED_QUANTILES
from analysis.stats.laws import binomial_below
from analysis.tuning.proposal import Advice, Change, PredictedTarget, Prediction, Proposal
from analysis.tuning.search import HARM, MOST_HARM, SURE_ENOUGH, Against, Found, Search, against, misses
from analysis.words import amount, percent

MOST_PROPOSALS = 8


def prediction(figures: np.ndarray, target: Target, players: int) -> Prediction:
    """Median and central intervals of the draws; the next session's count where the figure is a share of runs."""
    low95, low80, value, high80, high95 = (float(q) for q in np.quantile(figures, PREDICTED_QUANTILES))
    next_low = next_high = None
    if target.statistic == Statistic.SHARE and players > 0:
        chances = np.clip(figures, 0, 1)
        # The count's distribution over the draws, exactly; a count is named by its share of the players.
        below = binomial_below(np.arange(players + 1)[:, None], players, chances).mean(axis=1)
        next_low = float(np.searchsorted(below, 0.1)) / players
        next_high = min(float(np.searchsorted(below, 0.9)), players) / players
    return Prediction(value, low80, high80, low95, high95, next_low, next_high)


def propose(
    model: Fitted, targets: Sequence[Target], wishes: Changeable, game: str, tick: Callable[[], None] | None = None
) -> list[Proposal]:
    """Ranked proposals, the best first; none where the model knows none of the targets.

    With nothing that may be moved, one that says so. tick: called often; it may raise to stop.
    """
    known = model.asked(targets)
    if not known:
        return []
    moves = model.moves(wishes, known)
    search = Search(model, known, tick)
    best, single = search.best(moves)
    # What may be recommended goes before what is best in expectation but not sure enough.
    sure = search.sure([best, *single])
    ranked: list[Found] = [best] if sure is None else [sure]
    for found in [best, *single]:
        if found.setting not in [r.setting for r in ranked]:
            ranked.append(found)
    now = model.figures({}, known)
    seen = [model.observed(target) for target in known]
    too_few = model.sampling.caution
    notes = (
        *model.cautions(),
        *([too_few] if too_few else []),
        *(f"{t.name!r} is not taken into account here" for t in targets if not model.knows(t)),
    )
    return [_proposal(model, known, seen, now, found, bool(moves), game, notes) for found in ranked[:MOST_PROPOSALS]]


def _proposal(
    model: Fitted,
    known: Sequence[Target],
    seen: Sequence[Observed],
    now: np.ndarray,
    found: Found,
    movable: bool,
    game: str,
    notes: tuple[str, ...],
) -> Proposal:
    """What was found, with its doubt and its words. seen: of each target; now: the figures as things are."""
    then = model.figures(found.setting, known) if found.setting else now
    held = against(misses(known, now), misses(known, then))
    close = np.mean([t.miss(f) <= t.tolerance for t, f in zip(known, then, strict=True)], axis=0) >= 1
    predicted = tuple(
        PredictedTarget(
            target=t.name,
            wanted=t.wanted,
            tolerance=t.tolerance,
            unit=t.unit,
            now=prediction(a, t, o.players),
            proposed=prediction(b, t, o.players),
            observed=o.figure,
            observed_players=o.players,
            observed_runs=o.runs,
        )
        for t, o, a, b in zip(known, seen, now, then, strict=True)
    )
    changes = changes_of(model, found.setting)
    advice = _advice(predicted, known, bool(changes), held)
    return Proposal(
        id=_id(found),
        game=game,
        build=model.build.label,
        advice=advice,
        sentence=_sentence(advice, changes, predicted, held.better),
        changes=changes,
        targets=predicted,
        chance_better=held.better,
        chance_close=float(close.mean()),
        chance_worse=held.harm,
        players=model.players,
        runs=model.runs,
        draws=model.sampling.draws,
        effective_draws=model.sampling.effective,
        method=model.method,
        carried_by={t.name: model.carried_by(t) for t in model.tunables if t.name in {c.tunable for c in changes}},
        side_effects=model.side_effects(found.setting),
        settles_it=_settles(held, model.players, movable) if advice == Advice.NOT_YET else "",
        warnings=notes,
        assumptions=model.assumptions(),
    )


def _advice(predicted: Sequence[PredictedTarget], targets: Sequence[Target], changed: bool, seen: Against) -> Advice:
    near = all(t.miss(p.now.value) <= t.tolerance for t, p in zip(targets, predicted, strict=True))
    if near and (not changed or not seen.sure):
        return Advice.CLOSE_ENOUGH
    return Advice.CHANGE if changed and seen.sure else Advice.NOT_YET


def changes_of(model: Fitted, setting: Setting) -> tuple[Change, ...]:
    """The setting as changes against the present build, in the log's order."""
    return tuple(
        Change(t.name, t.role, t.value, int(setting[t.name]), t.unit, t.low, t.high, t.step)
        for t in model.tunables
        if t.name in setting and setting[t.name] != t.value
    )


def _settles(seen: Against, players: int, movable: bool) -> str:
    """What would settle a "not yet". The doubt shrinks with the root of the players: how many more are needed?"""
    if not movable:
        return (
            "nothing may be moved: the game declares no tunable that acts on this target, or the targets file allows "
            "none; declare one (such as lives or the fire period) and play again"
        )
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


def _id(found: Found) -> str:
    if not found.setting:
        return "no_change"
    return "+".join(f"{name}={value}" for name, value in sorted(found.setting.items()))


def _sentence(
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
