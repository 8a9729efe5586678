"""From a fitted model and targets to ranked proposals, each with its doubt."""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from scipy.special import ndtri
from scipy.stats import binom

from analysis.models.observed import Observed
from analysis.models.setting import Setting
from analysis.models.targets import Levers, Statistic, Target
from analysis.tuning.proposal import Advice, Change, PredictedTarget, Prediction, Proposal
from analysis.tuning.search import (
    HARM,
    MOST_HARM,
    SURE_ENOUGH,
    Against,
    Found,
    Lever,
    OutcomeModel,
    Search,
    against,
    levers_of,
    misses,
)

MOST_PROPOSALS = 8
_QUANTILES = (0.025, 0.1, 0.5, 0.9, 0.975)


def prediction(figures: np.ndarray, target: Target, players: int) -> Prediction:
    """Median and central intervals of the draws; the next session's count where the figure is a share of runs."""
    low95, low80, value, high80, high95 = (float(q) for q in np.quantile(figures, _QUANTILES))
    next_low = next_high = None
    if target.statistic == Statistic.SHARE and players > 0:
        chances = np.clip(figures, 0, 1)
        # The count's distribution over the draws, exactly; a count is named by its share of the players.
        below = binom.cdf(np.arange(players + 1)[:, None], players, chances).mean(axis=1)
        next_low = float(np.searchsorted(below, 0.1)) / players
        next_high = min(float(np.searchsorted(below, 0.9)), players) / players
    return Prediction(value, low80, high80, low95, high95, next_low, next_high)


def propose(
    model: OutcomeModel,
    targets: Sequence[Target],
    wishes: Levers,
    observed: Callable[[Target], Observed],
    describe: "Describer",
    method: str,
    players: int,
    runs: int,
    game: str,
    warnings: Sequence[str] = (),
    tick: Callable[[], None] | None = None,
    levers: Sequence[Lever] | None = None,
) -> list[Proposal]:
    """Ranked proposals, the best first. With no lever, one that says so.

    levers: what may be moved together, where the model knows better than `levers_of`.
    """
    known = tuple(t for t in targets if model.knows(t))
    unknown = [t.name for t in targets if not model.knows(t)]
    notes = [*warnings, *(f"{name!r} is not taken into account here" for name in unknown)]
    if not known:
        return []
    levers = levers_of(model, wishes, known) if levers is None else levers
    search = Search(model, known, tick)
    best, single = search.best(levers)
    # What may be recommended goes before what is best in expectation but not sure enough.
    sure = search.sure([best, *single])
    ranked: list[Found] = [best] if sure is None else [sure]
    for found in [best, *single]:
        if found.setting not in [r.setting for r in ranked]:
            ranked.append(found)
    now = model.figures({}, known)
    seen = {t.name: observed(t) for t in known}
    made = []
    for found in ranked[:MOST_PROPOSALS]:
        then = model.figures(found.setting, known) if found.setting else now
        seen_against = against(misses(known, now), misses(known, then))
        chance_better = seen_against.better
        close = np.mean([t.miss(f) <= t.tolerance for t, f in zip(known, then, strict=True)], axis=0) >= 1
        predicted = tuple(
            PredictedTarget(
                target=t.name,
                wanted=t.wanted,
                tolerance=t.tolerance,
                unit=t.unit,
                now=prediction(a, t, seen[t.name].players),
                proposed=prediction(b, t, seen[t.name].players),
                observed=seen[t.name].figure,
                observed_players=seen[t.name].players,
                observed_runs=seen[t.name].runs,
            )
            for t, a, b in zip(known, now, then, strict=True)
        )
        changes = changes_of(model, found.setting)
        advice = _advice(predicted, known, bool(changes), seen_against)
        settles = _settles(seen_against, players, bool(levers)) if advice == Advice.NOT_YET else ""
        made.append(
            Proposal(
                id=_id(found),
                game=game,
                build=model.build.label,
                advice=advice,
                sentence=describe.sentence(advice, changes, predicted, chance_better, float(close.mean())),
                changes=changes,
                targets=predicted,
                chance_better=chance_better,
                chance_close=float(close.mean()),
                chance_worse=seen_against.harm,
                players=players,
                runs=runs,
                method=method,
                carried_by=describe.carried_by(model, changes),
                side_effects=describe.side_effects(model, found.setting),
                settles_it=settles,
                warnings=tuple(notes),
                assumptions=describe.assumptions(model),
            )
        )
    return made


def _advice(
    predicted: Sequence[PredictedTarget],
    targets: Sequence[Target],
    changed: bool,
    seen: Against,
) -> Advice:
    near = all(t.miss(p.now.value) <= t.tolerance for t, p in zip(targets, predicted, strict=True))
    if near and (not changed or not seen.sure):
        return Advice.CLOSE_ENOUGH
    return Advice.CHANGE if changed and seen.sure else Advice.NOT_YET


def changes_of(model: OutcomeModel, setting: Setting) -> tuple[Change, ...]:
    """The setting as changes against the present build, in the log's order."""
    return tuple(
        Change(t.name, t.role, t.value, int(setting[t.name]), t.unit, t.low, t.high, t.step)
        for t in model.tunables
        if t.name in setting and setting[t.name] != t.value
    )


def _settles(seen: Against, players: int, levers: bool) -> str:
    """What would settle a "not yet". The doubt shrinks with the root of the players: how many more are needed?"""
    if not levers:
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
            f"the chance that it is worse by over {100 * HARM:.0f} points is {100 * seen.harm:.0f} %, "
            f"and {100 * MOST_HARM:.0f} % is the most allowed: "
        )
    return f"{why}play about {max(needed, 2)} more first-time players on the present build, two or more runs each"


def _id(found: Found) -> str:
    if not found.setting:
        return "no_change"
    return "+".join(f"{name}={value}" for name, value in sorted(found.setting.items()))


class Describer:
    """The words about one kind of model; subclasses know what carries a lever and what else it does."""

    def sentence(
        self,
        advice: Advice,
        changes: Sequence[Change],
        predicted: Sequence[PredictedTarget],
        chance_better: float,
        chance_close: float,
    ) -> str:
        """The proposal in one sentence."""
        what = " and ".join(f"{c.tunable} from {c.now} to {c.proposed}{_unit(c.unit)}" for c in changes)
        first = predicted[0]
        outcome = "Predicted: " + "; ".join(
            f"{p.target}: from {figure(p.now.value, p.unit)} to {figure(p.proposed.value, p.unit)} "
            f"(80 % {figure(p.proposed.low80, p.unit)} to {figure(p.proposed.high80, p.unit)}, "
            f"wanted {figure(p.wanted, p.unit)})"
            for p in predicted
        )
        match advice:
            case Advice.CLOSE_ENOUGH:
                return (
                    f"Leave it: {first.target} is about {figure(first.now.value, first.unit)} now, "
                    f"{figure(first.wanted, first.unit)} is wanted, and no change is likely to be closer."
                )
            case Advice.CHANGE:
                return f"Change {what}. {outcome}. Chance that this is better than no change: {chance_better:.2f}."
        if not changes:
            return f"Not yet: no setting within the allowed ranges is expected to do better. {outcome}."
        return (
            f"Not yet: {what} may help (chance {chance_better:.2f}), but the evidence is too thin. {outcome}."
        )

    def carried_by(self, model: Any, changes: Sequence[Change]) -> Mapping[str, str]:
        """Lever -> what its predicted effect rests on."""
        return {}

    def side_effects(self, model: Any, setting: Setting) -> Mapping[str, Any]:
        """What else changes, now and as proposed."""
        return {}

    def assumptions(self, model: Any) -> tuple[str, ...]:
        """The priors, in words and figures."""
        return ()


def figure(value: float, unit: str) -> str:
    """A figure for a sentence."""
    return f"{100 * value:.0f} %" if unit == "share" else f"{value:.1f} {unit}"


def _unit(unit: str) -> str:
    return f" {unit}" if unit not in ("", "-", "lives") else ""
