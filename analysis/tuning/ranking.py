"""From a fitted model and targets to ranked proposals, each with its doubt."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.models.audience import LIKE_TESTERS, shift_of
from analysis.models.fitted import Fitted
from analysis.models.moves import Move
from analysis.models.observed import Observed
from analysis.models.setting import Setting
from analysis.models.targets import Changeable, Statistic, Target
from analysis.stats.estimate import PREDICTED_QUANTILES
from analysis.stats.laws import binomial_below
from analysis.tuning.audiences import Audiences, condition
from analysis.tuning.proposal import Advice, Change, PredictedTarget, Prediction, Proposal, Way
from analysis.tuning.proposal_words import FEWEST, NOT_ALLOWED, UNDECLARED, Doubt, sentence, settles
from analysis.tuning.search import Found, Search, against, misses
from ingest.vocabulary import Recruitment

MOST_PROPOSALS = 8
MOST_WAYS = 3


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
    model: Fitted,
    targets: Sequence[Target],
    wishes: Changeable,
    game: str,
    testers: Recruitment,
    tick: Callable[[], None] | None = None,
    most: int = MOST_PROPOSALS,
) -> list[Proposal]:
    """Ranked proposals, the best first; none where the model knows none of the targets.

    With nothing that may be moved, one that says so. testers: how the people who played were found. tick: called often;
    it may raise to stop.
    """
    model = model.for_audience(shift_of(testers))
    known = model.asked(targets)
    if not known:
        return []
    now = model.figures({}, known)
    audiences = Audiences(model, known, testers)
    unknown = model.unknown(known)

    moves = model.moves(wishes, known)
    search = Search(model, known, tick, audiences.stands, moves)
    best, single = search.best(moves)
    # What may be recommended goes before what is best in expectation but not sure enough.
    may = {} if unknown or model.players < FEWEST else search.by_knobs([best, *single])
    sure = search.fewest(may)
    near = all(t.miss(figure) <= t.tolerance for t, figure in zip(known, np.median(now, axis=1), strict=True))
    if near and sure is None:
        ranked = [Found((), {}, search.miss({}), 0.0)]
    else:
        ranked = once([best if sure is None else sure, best, *single])
    too_few = model.sampling.caution
    notes = (
        *model.cautions(),
        *([too_few] if too_few else []),
        *(f"{t.name!r} is not taken into account here" for t in targets if not model.knows(t)),
    )
    like_testers = model.for_audience(LIKE_TESTERS)
    seen = [model.observed(target) for target in known]
    table = _Table(known, seen, now, like_testers.figures({}, known), unknown, search.reached.exclude_each_other)
    # A lever that is there, but moves nothing of what is wanted, is as none.
    free = bool(moves) or bool(model.moves(Changeable(), known))
    why_none = "" if moves else NOT_ALLOWED if free else UNDECLARED
    made = [
        _proposal(model, like_testers, table, audiences, found, search, n == 0, why_none, game, testers, notes)
        for n, found in enumerate(ranked[:most])
    ]
    ways = (
        () if near and sure is None else _ways(model, like_testers, table, search, moves, best, single, ranked[0], may)
    )
    # Where all is near enough, an alternative that is not recommended is no alternative to leaving it.
    return [replace(made[0], ways=ways), *(p for p in made[1:] if p.advice != Advice.CLOSE_ENOUGH)]


def once(found: Sequence[Found]) -> list[Found]:
    """Each setting once, where it stands first."""
    each: dict[str, Found] = {}
    for one in found:
        each.setdefault(_id(one), one)
    return list(each.values())


def _ways(
    model: Fitted,
    like_testers: Fitted,
    table: "_Table",
    search: Search,
    moves: Sequence[Move],
    best: Found,
    single: Sequence[Found],
    first: Found,
    may: Mapping[int, Found],
) -> tuple[Way, ...]:
    """The best with one knob, with two, and with as many as gain; each setting once. may: by the number of knobs, what
    may be recommended, which goes before what is best in expectation. first: what is proposed first, which is its own
    way of so many knobs: people choose by how much they change, and see what is recommended there.
    """
    best_of = [*single[:1], *filter(None, [search.with_two(moves, single)]), *([best] if best.setting else [])]
    kept: dict[int, Found] = {}
    for one in (*once(best_of[::-1]), *may.values(), *([first] if first.setting else [])):
        own = replace(one, moves=search.knobs(one.setting))
        kept[len(own.moves)] = own
    safe = {_id(one) for one in may.values()}
    own_id, order = _id(first), [one for _, one in sorted(kept.items())]
    # Fewest, most and what is proposed; of the others what may be recommended, fewer before more.
    told = sorted(order, key=lambda one: (_id(one) != own_id, one not in (order[0], order[-1]), _id(one) not in safe))
    shown = told[:MOST_WAYS]
    return tuple(_way(model, like_testers, table, one, _id(one) in safe) for one in order if one in shown)


def _way(model: Fitted, like_testers: Fitted, table: "_Table", found: Found, sure: bool) -> Way:
    then = model.figures(found.setting, table.targets)
    return Way(
        _id(found),
        found.moves,
        changes_of(model, found.setting),
        float(misses(table.targets, then).mean()),
        float(misses(table.targets, table.now).mean()),
        against(table.targets, table.now, then).better,
        table.predicted(then, like_testers.figures(found.setting, table.targets)),
        model.side_effects(found.setting),
        sure,
    )


@dataclass(frozen=True)
class _Table:
    """What all proposals share: the targets, what was observed of each, and the figures as things are, each (targets,
    draws): of the audience and of people like the testers. unknown, exclusive: as in Proposal."""

    targets: Sequence[Target]
    seen: Sequence[Observed]
    now: np.ndarray
    testers_now: np.ndarray
    unknown: str
    exclusive: bool

    def predicted(self, then: np.ndarray, testers_then: np.ndarray) -> tuple[PredictedTarget, ...]:
        """The targets with the figures as proposed."""
        return tuple(
            PredictedTarget(
                target=t.name,
                wanted=t.wanted,
                tolerance=t.tolerance,
                unit=t.unit,
                now=prediction(self.now[n], t, o.players),
                proposed=prediction(then[n], t, o.players),
                observed=o.figure,
                observed_players=o.players,
                observed_runs=o.runs,
                testers_now=prediction(self.testers_now[n], t, o.players),
                testers_proposed=prediction(testers_then[n], t, o.players),
            )
            for n, (t, o) in enumerate(zip(self.targets, self.seen, strict=True))
        )


def _proposal(
    model: Fitted,
    like_testers: Fitted,
    table: _Table,
    audiences: Audiences,
    found: Found,
    search: Search,
    first: bool,
    why_none: str,
    game: str,
    testers: Recruitment,
    notes: tuple[str, ...],
) -> Proposal:
    """What was found, with its doubt and its words. like_testers: the model of people like those who played."""
    known, now, setting = table.targets, table.now, found.setting
    then = model.figures(setting, known) if setting else now
    testers_then = like_testers.figures(setting, known) if setting else table.testers_now
    # Only of the first one the chance decides on what is done.
    held = search.confirmed(setting) if first and setting else against(known, now, then)
    close = np.mean([t.miss(f) <= t.tolerance for t, f in zip(known, then, strict=True)], axis=0) >= 1
    predicted = table.predicted(then, testers_then)
    changes = changes_of(model, setting)
    stands = audiences.stands(setting)
    doubt = Doubt(
        held, audiences.like_testers(setting), stands, table.exclusive, table.unknown, model.players, why_none
    )
    advice = _advice(predicted, known, bool(changes), doubt)
    side_effects = model.side_effects(setting)
    said = sentence(advice, changes, predicted, doubt, side_effects)
    return Proposal(
        id=_id(found),
        game=game,
        build=model.build.label,
        advice=advice,
        sentence=f"{said} {condition(testers, model.players)}",
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
        side_effects=side_effects,
        settles_it=settles(doubt, predicted[0]) if advice in (Advice.NOT_YET, Advice.EXPLORE) else "",
        warnings=notes,
        assumptions=model.assumptions(),
        testers=str(testers),
        condition=condition(testers, model.players),
        audiences=audiences.of(setting),
        unknown=table.unknown,
        exclusive=table.exclusive,
        nothing_to_turn=why_none,
    )


def _advice(predicted: Sequence[PredictedTarget], targets: Sequence[Target], changed: bool, doubt: Doubt) -> Advice:
    near = all(t.miss(p.now.value) <= t.tolerance for t, p in zip(targets, predicted, strict=True))
    if changed and not doubt.seen.small and not doubt.few:
        if doubt.unknown and not near:
            return Advice.EXPLORE
        if not doubt.unknown and doubt.seen.sure and doubt.stands:
            return Advice.CHANGE
    return Advice.CLOSE_ENOUGH if near else Advice.NOT_YET


def changes_of(model: Fitted, setting: Setting) -> tuple[Change, ...]:
    """The setting as changes against the present build, in the log's order."""
    return tuple(
        Change(t.name, t.role, t.value, int(setting[t.name]), t.unit, t.low, t.high, t.step)
        for t in model.tunables
        if t.name in setting and setting[t.name] != t.value
    )


def _id(found: Found) -> str:
    if not found.setting:
        return "no_change"
    return "+".join(f"{name}={value}" for name, value in sorted(found.setting.items()))
