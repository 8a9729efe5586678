"""Two builds of a game by the targets: what each player did on the one and on the other."""

from dataclasses import dataclass, replace

from analysis.findings.one_order import one_order
from analysis.findings.progress.fair import Began, Sides, fresh_values, on_both, read_began, sides_of
from analysis.findings.progress.kept_predictions import scores_of
from analysis.findings.progress.player_values import Played, quantile_of
from analysis.findings.progress.verdict import Expected, Verdict, most_careful, of_all, sure_level, verdict_of
from analysis.models.data import Build
from analysis.models.targets import Outcome, Population, Statistic, Target, TargetSet, describe
from analysis.played_order import PlayedOrder, not_known, played_order
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.stats.estimate import LEVEL
from analysis.stats.picked import expected_of_picked
from analysis.tuning.scoring import Difference, Score, difference, over_orders
from analysis.tuning_answers.tuning_data import NothingToTune, kept_targets, load_builds


@dataclass(frozen=True)
class Compared:
    """One target on two builds."""

    target: Target
    before: str
    after: str
    difference: Difference
    mean: Difference | None  # of the players' values, where the target's own quantile has no interval
    closer: bool | None  # is the figure after closer to what was wanted? None: no such figure
    verdict: Verdict
    expected: Expected | None = None  # of the earlier build, played again; None where nothing tells
    attempts: int | None = None  # so many first attempts count, fewer than the target speaks of
    on_both: tuple[tuple[str, float, float], ...] = ()  # (player, before, after) of those known on both builds


@dataclass(frozen=True)
class Comparison:
    """All targets on two builds, what else changed between them, and the predictions scored on the later one.

    `unordered`: builds of which it is not known which was played last, so that there is no before and after.
    """

    game: str
    before: str | None
    after: str | None
    changes: tuple[tuple[str, int, int, str], ...]  # tunable, before, after, unit
    compared: tuple[Compared, ...]
    scores: tuple[Score, ...]
    why: str = ""
    unordered: tuple[str, ...] = ()
    wanted: bool = False  # whether the targets are people's own
    one_order: str = ""  # a warning where all who played both builds began with the same one

    @property
    def verdict(self) -> tuple[str, Verdict]:
        """Did it help, in a few words, and the kind of verdict that carries it."""
        return of_all([one.verdict for one in self.compared])


def compare_game(
    reader: Reader,
    selection: Selection,
    targets: TargetSet | None = None,
    before: str | None = None,
    after: str | None = None,
) -> Comparison:
    """Two builds of one game (default: the last two that were played) by the targets (default: those kept).

    Where only the order in which builds were played would tell which two, and it is not known, there is no comparison.
    Raises NothingToTune for a build that the game does not have.
    """
    data = Played(reader)
    builds = load_builds(reader, selection.game)
    order = played_order(reader, selection.game)
    played = list(order.builds)
    for label in (before, after):
        if label is not None and label not in played:
            raise NothingToTune(f"build {label!r} of {selection.game!r} was not played; played: {', '.join(played)}")
    before, after, unordered = _two_builds(order, before, after)
    if unordered:
        return Comparison(selection.game, before, after, (), (), (), not_known(unordered), unordered)
    kept = kept_targets(reader, selection.game)
    wishes = targets or (kept.read_or_none if kept else None)
    scores = tuple(scores_of(data, selection, builds, after)) if after else ()
    if before is None or after is None or before == after:
        return Comparison(selection.game, before, after, (), (), scores, _why_not(played, after))
    by_label = {b.label: b for b in builds.values()}
    wanted = bool(wishes and wishes.targets)
    asked = wishes.targets if wishes and wanted else _default_targets(data, selection)
    pair = Pair(before, after, [b for b in played if b not in (before, after)], read_began(reader, selection), wanted)
    level = sure_level(len(asked))
    compared = tuple(c for target in asked if (c := compare_target(data, selection, target, pair, scores, level)))
    changes = _changes(by_label[before], by_label[after])
    run = reader.ask_chosen("run_ends", selection.of_every_build())
    warning = one_order(run, before, after)
    return Comparison(selection.game, before, after, changes, compared, scores, wanted=wanted, one_order=warning)


@dataclass(frozen=True)
class Pair:
    """Two builds, the others that were played, who began on which, and whether the targets are people's own."""

    before: str
    after: str
    others: list[str]
    began: Began
    wanted: bool


def compare_target(
    data: Played, selection: Selection, target: Target, pair: Pair, scores: tuple[Score, ...], level: float
) -> Compared | None:
    """One target on two builds; None where the game cannot answer it."""
    sides = sides_of(data, selection, target, (pair.before, pair.after), pair.began)
    if sides is None:
        return None
    quantile = quantile_of(target)

    def differ(level: float) -> Difference:
        if sides.began is None:
            return _in_its_unit(difference(sides.before, sides.after, level, quantile), target)
        began = [sides.began[str(player)] == pair.before for player in sides.before.player]
        return _in_its_unit(over_orders(sides.before, sides.after, began, level), target)

    found, sure = differ(LEVEL), differ(level)
    mean = None
    if quantile is not None and found.value is not None and found.low is None:
        mean = _in_its_unit(difference(sides.before, sides.after), target)
    closer = None
    if found.before is not None and found.after is not None:
        closer = bool(target.miss(found.after) < target.miss(found.before))
    expected = most_careful(found, _expectations(data, selection, target, pair, sides, found, scores))
    verdict = verdict_of(target, pair.wanted, sure, expected, sides.unfair)
    both = on_both(data, selection, target, (pair.before, pair.after))
    return Compared(target, pair.before, pair.after, found, mean, closer, verdict, expected, sides.attempts, both)


def _expectations(
    data: Played,
    selection: Selection,
    target: Target,
    pair: Pair,
    sides: Sides,
    found: Difference,
    scores: tuple[Score, ...],
) -> list[Expected]:
    """What the other builds let expect of the earlier one, and what kept predictions said of it as it was."""
    if found.before is None:
        return []
    own = [
        Expected(s.said_no_change.value, "the kept prediction")
        for s in scores
        if s.build == pair.before and s.target == target.name
    ]
    others = [fresh_values(data, selection, target, label, pair.began) for label in pair.others]
    values = [side.value for side in others if side is not None and len(side.value)]
    if not values:
        return own
    mean = float(sides.before.value.mean())
    moved = expected_of_picked([sides.before.value, *values], 0) - mean
    return [*own, Expected(found.before + moved, "the other builds")]


def _two_builds(
    order: PlayedOrder, before: str | None, after: str | None
) -> tuple[str | None, str | None, tuple[str, ...]]:
    """The builds before and after, where one is not named by the order in which they were played; and those of which it
    is not known which was played last."""
    if after is None:
        # With two builds, who names one names both.
        others = tuple(b for b in order.builds if b != before) if len(order.builds) == 2 else order.builds
        after = order.last_of(others)
        if after is None and others:
            return before, None, order.maybe_last(others)
    if before is None:
        others = tuple(b for b in order.builds if b != after)
        before = order.last_of(others)
        if before is None and others:
            return None, after, order.maybe_last(others)
    return before, after, ()


def _in_its_unit(found: Difference, target: Target) -> Difference:
    """In the target's unit; two shares differ by no more than all."""
    found = found.in_unit(target.unit)
    if target.unit != "share" or found.low is None or found.high is None:
        return found
    return replace(found, low=max(-1.0, found.low), high=min(1.0, found.high))


def _default_targets(data: Played, selection: Selection) -> tuple[Target, ...]:
    """Without targets, builds are compared by what the game has, by means over players; nothing is wanted then."""
    selection = replace(selection.of_every_build(), stage=None, stage_kind=None)
    mean = Statistic.MEAN
    hits = Target("", Outcome.HIT_SHARE, 1.0, 0.05, population=Population.NEW_PLAYERS, statistic=mean)
    if data.timing(selection) is not None:
        return (replace(hits, name=describe(hits)),)
    try:
        data.trials(selection)
        streak = Target("", Outcome.STREAK, 1, 1, unit="trials", statistic=mean)
        return tuple(replace(t, name=describe(t)) for t in (hits, streak))
    except NothingToTune:
        pass
    try:
        staged = data.staged(selection)
    except NothingToTune:
        return ()
    if staged.segments[0].is_level:
        wishes = [Target("", Outcome.LEVEL_REACHED, 1, 1, unit="levels", statistic=mean)]
    else:
        numbers = sorted({s.number for s in staged.segments})
        wishes = [Target("", Outcome.REACH_STAGE, 1.0, 0.05, number=n) for n in numbers[1:]]
        wishes.append(Target("", Outcome.FINISH, 1.0, 0.05))
    return tuple(replace(t, name=describe(t)) for t in wishes)


def _why_not(played: list[str], after: str | None) -> str:
    """Why there are no two builds to compare."""
    if after is None:
        return "no build has been played yet: let people play, and ingest their logs"
    if len(played) > 1:
        return f"that is {after} against itself: name two of the builds that were played, {', '.join(played)}"
    return (
        f"only one build has been played, {after}: change something, flash it, and let people play again, then there "
        "is a before and an after"
    )


def _changes(before: Build, after: Build) -> tuple[tuple[str, int, int, str], ...]:
    now = {t.name: t.value for t in before.tunables}
    return tuple(
        (t.name, now[t.name], t.value, t.unit) for t in after.tunables if t.name in now and now[t.name] != t.value
    )
