"""Did it help: the newest build against the one before it, and kept predictions against what came."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from functools import cache, partial
from typing import Any

from analysis.finding import Estimate, Finding
from analysis.findings.proposals import Fitted, TuningAnswer
from analysis.findings.tuning_data import NothingToTune, load_builds, load_staged, load_trials
from analysis.findings.wording import counted
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.timing_data import read_timing
from analysis.tuning.data import Build
from analysis.tuning.observed import ByPlayer, Observed, by_player_staged, by_player_trials
from analysis.tuning.progress import Difference, Score, count_interval, difference, players_for_quantile
from analysis.tuning.proposal import Prediction
from analysis.tuning.propose import figure
from analysis.tuning.target_file import BadTargets, read_targets
from analysis.tuning.targets import Outcome, Population, Statistic, Target, TargetSet, describe

__all__ = ["Compared", "Fitted", "Observed", "compare_game", "find", "predictions_to_keep"]

METHOD = "progress.compared"
_TRIAL = (Outcome.HIT_SHARE, Outcome.STREAK)
KEPT_PROPOSALS = 8


@dataclass(frozen=True)
class Compared:
    """One target on two builds."""

    target: Target
    before: str
    after: str
    difference: Difference
    mean: Difference | None  # of the players' values, where the target's own quantile has no interval
    closer: bool | None  # is the figure after closer to what was wanted? None: no such figure


@dataclass(frozen=True)
class Comparison:
    """All targets on two builds, what else changed between them, and the predictions scored on the later one."""

    game: str
    before: str | None
    after: str | None
    changes: tuple[tuple[str, int, int, str], ...]  # tunable, before, after, unit
    compared: tuple[Compared, ...]
    scores: tuple[Score, ...]
    why: str = ""


def predictions_to_keep(answer: TuningAnswer, targets: TargetSet) -> Iterator[tuple[str, dict[str, Any]]]:
    """(build label, JSON) of each proposal, so that whichever is accepted can be scored later."""
    wishes = {t.name: asdict(t) for t in targets.targets}
    for proposal in answer.proposals[:KEPT_PROPOSALS]:
        said = [
            {
                "target": wishes.get(p.target, {"name": p.target}),
                "now": asdict(p.now),
                "proposed": asdict(p.proposed),
                "wanted": p.wanted,
                "unit": p.unit,
            }
            for p in proposal.targets
        ]
        yield (
            proposal.build,
            {
                "proposal": proposal.id,
                "changes": {c.tunable: c.proposed for c in proposal.changes},
                "targets": said,
            },
        )


class _Data:
    """What one comparison loads: several targets ask for the same runs, which are then loaded once."""

    def __init__(self, reader: Reader):
        self.reader = reader
        self.staged = cache(partial(load_staged, reader))
        self.trials = cache(partial(load_trials, reader))
        self.timing = cache(partial(read_timing, reader))


def compare_game(
    reader: Reader,
    selection: Selection,
    targets: TargetSet | None = None,
    before: str | None = None,
    after: str | None = None,
) -> Comparison:
    """Two builds of one game (default: the last two that were played) by the targets (default: those kept).

    Raises NothingToTune for a build that the game does not have.
    """
    data = _Data(reader)
    builds = load_builds(reader, selection.game)
    played = [str(label) for label in reader.ask("progress_builds", game=selection.game)["build"]]
    for label in (before, after):
        if label is not None and label not in played:
            raise NothingToTune(
                f"build {label!r} of {selection.game!r} was not played; played: {', '.join(played)}"
            )
    after = after or (played[-1] if played else None)
    earlier = [label for label in played if label != after]
    before = before or (earlier[-1] if earlier else None)
    wishes = targets.targets if targets else _kept_targets(reader, selection.game)
    scores = tuple(_scores(data, selection, builds, after)) if after else ()
    if before is None or after is None or before == after:
        return Comparison(selection.game, before, after, (), (), scores, _why_not(played, after))
    by_label = {b.label: b for b in builds.values()}
    wishes = wishes or _default_targets(data, selection)
    compared = []
    for target in wishes:
        first, second = (_by_player(data, selection, target, label) for label in (before, after))
        if first is None or second is None:
            continue
        quantile = _quantile(target)
        found = _within_range(difference(first, second, quantile=quantile), target)
        mean = None
        if quantile is not None and found.value is not None and found.low is None:
            mean = _within_range(difference(first, second), target)
        closer = None
        if found.before is not None and found.after is not None:
            closer = bool(target.miss(found.after) < target.miss(found.before))
        compared.append(Compared(target, before, after, found, mean, closer))
    changes = _changes(by_label[before], by_label[after])
    return Comparison(selection.game, before, after, changes, tuple(compared), scores)


def _quantile(target: Target) -> float | None:
    """The quantile over players that the target speaks of; None where it speaks of a mean or a share."""
    if target.statistic not in (Statistic.MEDIAN, Statistic.QUANTILE):
        return None
    return target.quantile or 0.5


def _within_range(found: Difference, target: Target) -> Difference:
    """Two shares differ by no more than all."""
    if target.unit != "share" or found.low is None or found.high is None:
        return found
    return replace(found, low=max(-1.0, found.low), high=min(1.0, found.high))


def _kept_targets(reader: Reader, game: str) -> tuple[Target, ...]:
    """The targets that the study holds, the newest."""
    rows = reader.ask("progress_targets", game=game)["target_toml"]
    if not len(rows):
        return ()
    try:
        return read_targets(str(rows[-1])).targets
    except BadTargets:
        return ()


def _default_targets(data: _Data, selection: Selection) -> tuple[Target, ...]:
    """Without targets, builds are compared by what the game has, by means over players; nothing is wanted then."""
    selection = replace(selection, builds=(), stage=None, stage_kind=None)
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
        wishes = [Target("", Outcome.TOP_OUT_LEVEL, 1, 1, unit="levels", statistic=mean)]
    else:
        numbers = sorted({s.number for s in staged.segments})
        wishes = [Target("", Outcome.REACH_STAGE, 1.0, 0.05, number=n) for n in numbers[1:]]
        wishes.append(Target("", Outcome.FINISH, 1.0, 0.05))
    return tuple(replace(t, name=describe(t)) for t in wishes)


def _by_player(data: _Data, selection: Selection, target: Target, label: str) -> ByPlayer | None:
    """One value a player on one build; None where the game cannot answer the target."""
    selection = replace(selection, builds=(label,), stage=None, stage_kind=None)
    try:
        if target.outcome == Outcome.HIT_SHARE or target.outcome in _TRIAL:
            hits = _hits(data, selection, target)
            if hits is not None:
                return hits
            trials = data.trials(selection, label)
            return by_player_trials(trials, target, trials.current)
        staged = data.staged(selection, label)
        return by_player_staged(staged, target, staged.current)
    except NothingToTune:
        return None


def _hits(data: _Data, selection: Selection, target: Target) -> ByPlayer | None:
    """Each player's share of notes hit in the windows in force; None in a game without notes."""
    notes = data.timing(selection) if target.outcome == Outcome.HIT_SHARE else None
    if notes is None:
        return None
    import numpy as np

    keep = ~np.array(notes.experienced, dtype=bool)[notes.player]
    if target.population == Population.FIRST_ATTEMPT:
        keep &= notes.attempt == 1
    if target.population == Population.ATTEMPT:
        keep &= notes.attempt == target.attempt
    if target.song is not None:
        keep &= np.array(notes.song_numbers)[notes.song] == target.song
    players = np.unique(notes.player[keep])
    shares = np.array([notes.hit[keep & (notes.player == p)].mean() for p in players], dtype=float)
    names = np.array(notes.players)[players] if len(players) else players
    runs = np.array([len(np.unique(notes.run[keep & (notes.player == p)])) for p in players], dtype=int)
    return ByPlayer(names.astype(str), shares, runs)


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
        (t.name, now[t.name], t.value, t.unit)
        for t in after.tunables
        if t.name in now and now[t.name] != t.value
    )


def _scores(data: _Data, selection: Selection, builds: Mapping[int, Build], label: str) -> Iterator[Score]:
    """Kept predictions for a setting that is exactly this build's, made before it was played."""
    by_label = {b.label: b for b in builds.values()}
    values = {t.name: t.value for t in by_label[label].tunables}
    rows = data.reader.ask("progress_predictions", game=selection.game)
    done: set[tuple[str, str]] = set()
    for n in range(len(rows["prediction_json"]) - 1, -1, -1):
        made_on = str(rows["build_label"][n])
        try:
            kept = json.loads(str(rows["prediction_json"][n]))
            start = by_label[made_on]
            setting = {t.name: t.value for t in start.tunables} | kept["changes"]
            if made_on == label or not kept["changes"] or setting != values:
                continue
            for said in kept["targets"]:
                score = _score(
                    data, selection, label, said, kept["proposal"], made_on, str(rows["noted_at"][n])
                )
                if score is not None and (score.proposal, score.target) not in done:
                    done.add((score.proposal, score.target))
                    yield score
        except (KeyError, TypeError, ValueError):
            continue  # written by another version; the raw row stays in the study


def _score(
    data: _Data,
    selection: Selection,
    label: str,
    said: Mapping[str, Any],
    proposal: str,
    made_on: str,
    noted_at: str,
) -> Score | None:
    target = Target(**said["target"])
    if target.outcome in _TRIAL and target.population == Population.NEW_PLAYERS:
        # Predicted is what new players do in their first run; in the second they know the game.
        target = replace(target, population=Population.FIRST_ATTEMPT)
    seen = _by_player(data, selection, target, label)
    if seen is None or not len(seen.value):
        return None
    predicted, plain = Prediction(**said["proposed"]), Prediction(**said["now"])
    players = len(seen.value)
    counted = target.statistic == Statistic.SHARE
    low, high = count_interval(predicted, players) if counted else (predicted.low80, predicted.high80)
    value = float(seen.value.mean())
    quantile = _quantile(target)
    if quantile is not None:
        import numpy as np

        value = float(np.quantile(seen.value, quantile))
    return Score(
        noted_at,
        made_on,
        proposal,
        target.name,
        predicted,
        plain,
        target.wanted,
        target.unit,
        value,
        players,
        int(seen.runs.sum()),
        low,
        high,
    )


def find(reader: Reader, selection: Selection) -> list[Finding]:
    """The last two builds compared, and the predictions scored."""
    builds = tuple(selection.builds)
    before, after = (builds[0], builds[1]) if len(builds) == 2 else (None, None)
    comparison = compare_game(reader, replace(selection, builds=()), None, before, after)
    found = [_compared(c, comparison) for c in comparison.compared]
    if comparison.scores:
        found.append(_scored(comparison))
    return found


def _compared(c: Compared, comparison: Comparison) -> Finding:
    d, unit = c.difference, c.target.unit
    changed = ", ".join(f"{name} {a} -> {b}" for name, a, b, _ in comparison.changes) or "no declared value"
    if d.before is None or d.after is None:
        sentence = (
            f"{c.target.name}: one of the builds {c.before} and {c.after} was played by nobody it speaks of."
        )
    else:
        sentence = (
            f"{c.target.name}{of_players(c.target)}: {figure(d.before, unit)} on {c.before}, "
            f"{figure(d.after, unit)} on {c.after}; "
            + (f"{_points(d, unit)}." if d.low is not None else f"{_no_interval(c)}.")
        )
        if c.mean is not None and c.mean.before is not None and c.mean.after is not None:
            sentence += (
                f" Beside it, the mean of the players' values: "
                f"{figure(c.mean.before, unit)} and {figure(c.mean.after, unit)}"
                + (f", {_points(c.mean, unit)}." if c.mean.low is not None else "; no interval either.")
            )
    warnings = []
    if d.how != "within":
        warnings.append(
            "different people played the two builds: chance, time and place differ too, not only the game"
        )
    return Finding(
        id=f"progress.{_slug(c.target.name)}",
        question="progress",
        title=f"{c.target.name}: {c.before} against {c.after}",
        sentence=sentence,
        players=d.players_after if d.how == "within" else d.players_before + d.players_after,
        runs=d.runs,
        method=METHOD,
        estimate=Estimate(d.value, d.low, d.high, unit=unit),
        warnings=tuple(warnings),
        tables={
            "builds": {
                "build": [c.before, c.after],
                "figure": [d.before, d.after],
                "players": [d.players_before, d.players_after],
            }
        },
        facts={"changed": changed, "how": d.how, "closer": c.closer, "unit": unit},
    )


def of_players(target: Target) -> str:
    """What of the players' values is compared, where the target's name does not say it."""
    if target.statistic == Statistic.SHARE or target.name == describe(target):
        return ""
    quantile = _quantile(target)
    if quantile is None:
        return ", mean over players"
    return ", median over players" if quantile == 0.5 else f", {100 * quantile:g} % quantile over players"


def _no_interval(c: Compared) -> str:
    quantile, fewest = _quantile(c.target), min(c.difference.players_before, c.difference.players_after)
    if quantile is None or fewest >= players_for_quantile(quantile):
        return "too few players for an interval, or all alike"
    name = "median" if quantile == 0.5 else f"{100 * quantile:g} % quantile"
    on_each = "" if c.difference.how == "within" else " on each build"
    return (
        f"{counted(fewest, 'player')} are too few for an interval: that of a {name} takes "
        f"{players_for_quantile(quantile)}{on_each}"
    )


def _points(d: Difference, unit: str) -> str:
    assert d.value is not None and d.low is not None and d.high is not None
    sure = "higher" if d.low > 0 else "lower" if d.high < 0 else "the data do not tell which is higher"
    if unit == "share":
        span = f"{100 * d.value:+.0f} points ({100 * d.low:+.0f} to {100 * d.high:+.0f})"
    else:
        span = f"{d.value:+.1f} ({d.low:+.1f} to {d.high:+.1f})"
    of_whom = f" of the {d.players_after} players who played both" if d.how == "within" else ""
    return f"a difference{of_whom} of {span}: {sure}"


def _scored(comparison: Comparison) -> Finding:
    scores = comparison.scores
    inside = sum(s.inside for s in scores)
    first = scores[0]
    sentence = (
        f"Of {len(scores)} predictions kept for build {comparison.after}, {inside} came out within their 80 % "
        f"interval; {first.target}: {figure(first.said.value, first.unit)} was predicted, "
        f"{figure(first.observed, first.unit)} came ({first.players} players)."
    )
    return Finding(
        id="progress.predictions",
        question="progress",
        title="What had been predicted, and what came",
        sentence=sentence,
        players=max(s.players for s in scores),
        runs=max(s.runs for s in scores),
        method=METHOD,
        warnings=() if len(scores) > 4 else ("a few predictions say little about how good predictions are",),
        tables={
            "predictions": {
                "kept": [s.noted_at for s in scores],
                "proposal": [s.proposal for s in scores],
                "target": [s.target for s in scores],
                "predicted": [s.said.value for s in scores],
                "expected_low": [s.expected_low for s in scores],
                "expected_high": [s.expected_high for s in scores],
                "came": [s.observed for s in scores],
                "inside": [s.inside for s in scores],
            }
        },
    )


def _slug(name: str) -> str:
    words = "".join(c if c.isascii() and c.isalnum() else " " for c in name.lower()).split()
    return "_".join(words)[:60] or "target"
