"""The join for the tuning: from the study and the targets to fitted models and ranked proposals."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from analysis.findings.staged_data import load_staged
from analysis.findings.tuning_data import NothingToTune, load_builds, load_trials
from analysis.findings.wording import counted
from analysis.models.between_builds import BetweenWords, fit_between
from analysis.models.observed import Observed, by_player_staged, observed_staged, observed_trials
from analysis.models.staged import StagedModel, fit_staged
from analysis.models.staged_words import StagedWords
from analysis.models.targets import Outcome, Statistic, Target, TargetSet
from analysis.models.trials import TrialModel, TrialWords, fit_trials
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.timing_data import read_timing, read_timing_tunables
from analysis.tuning.proposal import Proposal
from analysis.tuning.ranking import Describer, propose
from analysis.tuning.search import Lever, OutcomeModel
from analysis.tuning.whatif import Sensitivity, sensitivity

METHODS_BY_KIND = {
    "staged": "tuning.staged",
    "trials": "tuning.trials",
    "rhythm": "timing.proposal",
    "between": "tuning.between_builds",
}
# Tunables of the rhythm model: their effect is known where notes are logged.
_TIMED = ("window_early", "window_late", "input_offset")
_TRIAL = (Outcome.HIT_SHARE, Outcome.STREAK)


@dataclass(frozen=True)
class Fitted:
    """A model of one game with what goes with it: how it is described, and what was seen for a target."""

    kind: str
    model: OutcomeModel
    words: Describer
    observed: Callable[[Target], Observed]
    players: int
    runs: int
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class TuningAnswer:
    """All that `setscrew propose` says of one game. unanswered: target -> why there is nothing to say."""

    game: str
    build: str
    fingerprint: str
    proposals: tuple[Proposal, ...]
    unanswered: dict[str, str]
    warnings: tuple[str, ...]


def fit_game(
    reader: Reader, selection: Selection, targets: TargetSet, build: str | None = None
) -> tuple[list[Fitted], dict[str, str]]:
    """The models that the targets call for, and for which targets none could be fitted, with the reason."""
    selection = replace(selection, builds=(), stage=None, stage_kind=None)
    fitted: list[Fitted] = []
    why: dict[str, str] = {}
    shots = [t for t in targets.targets if t.outcome in _TRIAL and t.song is None]
    staged = [t for t in targets.targets if t.outcome not in _TRIAL]
    if staged:
        try:
            fitted.append(_staged(reader, selection, build, targets.runs_each))
        except NothingToTune as error:
            why |= {t.name: str(error) for t in staged}
    if shots:
        try:
            fitted.append(_trials(reader, selection, build))
        except NothingToTune as error:
            why |= {t.name: str(error) for t in shots}
    for target in targets.targets:
        if target.name not in why and not any(f.model.knows(target) for f in fitted):
            why[target.name] = _why_not(target, fitted)
    return fitted, why


def _why_not(target: Target, fitted: Sequence[Fitted]) -> str:
    """Why no model can answer `target`, and what would help."""
    data = next((one.model.data for one in fitted if isinstance(one.model, StagedModel)), None)
    if (
        data is not None
        and target.outcome in (Outcome.FINISH, Outcome.FINISH_WITHIN)
        and not data.ends_logged
    ):
        return "this game does not log how its runs end: log an event with the role run_end"
    if data is not None and target.outcome == Outcome.REACH_STAGE and not data.segments[0].is_level:
        last = max(segment.number for segment in data.segments)
        if data.more_stages or last > 1:
            return f"nobody came to it, and nothing in the log says that it is there; stage {last} is the last known"
        return "this game logs one stage only (all songs are stage 1): log stage_start, with the number, as each begins"
    return "nothing in this game's log can answer it"


def _staged(reader: Reader, selection: Selection, build: str | None, runs_each: int | None) -> Fitted:
    data = load_staged(reader, selection, build, runs_each)
    model: StagedModel = fit_staged(data)
    fresh = len(
        {p for p, old in zip(data.runs.player.tolist(), data.runs.experienced, strict=True) if not old}
    )
    return Fitted(
        "staged",
        model,
        StagedWords(),
        lambda target: observed_staged(data, target),
        len(data.players),
        data.runs.count,
        _cautions(fresh, len(data.players), data.runs.count, int(data.runs.damaged.sum())),
    )


def _trials(reader: Reader, selection: Selection, build: str | None) -> Fitted:
    data = load_trials(reader, selection, build)
    model: TrialModel = fit_trials(data)
    fresh = len({p for p, old in zip(data.player.tolist(), data.experienced, strict=True) if not old})
    runs = len(set(data.run.tolist()))
    return Fitted(
        "trials",
        model,
        TrialWords(),
        lambda target: observed_trials(data, target),
        len(data.players),
        runs,
        _cautions(fresh, len(data.players), runs, 0),
    )


def _cautions(fresh: int, players: int, runs: int, damaged: int) -> tuple[str, ...]:
    said = []
    if fresh == 0:
        said.append("every player had played before: what first-time players do is guessed from them")
    elif fresh < players:
        said.append(
            f"{players - fresh} of {counted(players, 'player')} had played before; they are not the population"
        )
    if players < 8:
        said.append(f"only {counted(players, 'player')}: the intervals are indicative")
    if runs < 2 * players:
        said.append("fewer than two runs a player: what practice does is mostly assumed")
    if damaged:
        said.append(
            f"{damaged} of {counted(runs, 'run')} {'is' if runs == 1 else 'are'} damaged: events in them may be missing"
        )
    return tuple(said)


def propose_game(
    reader: Reader,
    selection: Selection,
    targets: TargetSet,
    build: str | None = None,
    tick: Callable[[], None] | None = None,
) -> TuningAnswer:
    """Ranked proposals for one game, the best of each kind of target first.

    build: label of the build to change; None: that of the last run. tick: called often; raise in it to cancel.
    """
    fitted, why = fit_game(reader, selection, targets, build)
    made: list[Proposal] = []
    label = ""
    for one in fitted:
        label = one.model.build.label
        made += propose(
            one.model,
            targets.targets,
            targets.levers,
            one.observed,
            one.words,
            METHODS_BY_KIND[one.kind],
            one.players,
            one.runs,
            selection.game,
            one.warnings,
            tick,
        )
    if any(t.outcome == Outcome.HIT_SHARE for t in targets.targets):
        rhythm = _rhythm(reader, selection, targets, build, tick)
        for target in (t for p in rhythm for t in p.targets):
            why.pop(target.target, None)
        made += rhythm
        label = label or (rhythm[0].build if rhythm else "")
    known = {role for one in fitted for role in one.model.roles} | set(_TIMED)
    made += _between(reader, selection, targets, build, known)
    warnings = _unknown_levers(reader, selection.game, targets)
    return TuningAnswer(selection.game, label, reader.fingerprint(), tuple(made), why, warnings)


def _unknown_levers(reader: Reader, game: str, targets: TargetSet) -> tuple[str, ...]:
    """What the targets file says of tunables that no build of the game has."""
    tunables = [tunable for build in load_builds(reader, game).values() for tunable in build.tunables]
    names = {word for tunable in tunables for word in (tunable.name, tunable.role) if word}
    levers = targets.levers
    said = dict.fromkeys([*levers.allowed, *levers.frozen, *levers.ranges])
    has = ", ".join(dict.fromkeys(tunable.name for tunable in tunables)) or "none"
    return tuple(
        f"the targets file names {word!r}, which is no tunable of this game; it has: {has}"
        for word in said
        if word not in names
    )


def under_other_assumptions(
    reader: Reader, selection: Selection, targets: TargetSet, answer: TuningAnswer, build: str | None = None
) -> list[Sensitivity]:
    """What the first proposal of `answer` for each kind of target would be predicted to do, had something else been
    assumed. Empty for hit shares of notes and for tunables that only a line between builds speaks of."""
    return fitted_otherwise(fit_game(reader, selection, targets, build)[0], targets, answer)


def fitted_otherwise(
    fitted: Sequence[Fitted],
    targets: TargetSet,
    answer: TuningAnswer,
    tick: Callable[[float], None] = lambda share: None,
) -> list[Sensitivity]:
    """As `under_other_assumptions`, of models that are fitted already. tick: as in `whatif.sensitivity`."""
    rows: list[Sensitivity] = []
    for one in fitted:
        best = next((p for p in answer.proposals if p.method == METHODS_BY_KIND[one.kind]), None)
        if best is not None:
            setting = {change.tunable: change.proposed for change in best.changes}
            rows += sensitivity(one.model, setting, targets.targets, tick)
    return rows


def _between(
    reader: Reader, selection: Selection, targets: TargetSet, build: str | None, known: set[str]
) -> list[Proposal]:
    """A plain dose-response for every tunable that no model knows and that differed between the builds played."""
    selection = replace(selection, builds=(), stage=None, stage_kind=None)
    try:
        data = load_staged(reader, selection, build, targets.runs_each)
    except NothingToTune:
        return []
    played = sorted(set(data.runs.build.tolist()))
    values = {n: {t.name: t.value for t in data.builds[n].tunables} for n in played}
    shared = set.intersection(*(set(v) for v in values.values()))
    varied = {name for name in shared if len({v[name] for v in values.values()}) > 1}
    wishes = [t for t in targets.targets if t.statistic == Statistic.SHARE and t.outcome not in _TRIAL]
    made: list[Proposal] = []
    for tunable in data.build.tunables:
        wanted = tunable.name in varied and tunable.role not in known
        if not wanted or not targets.levers.allows(tunable.name, tunable.role):
            continue
        results = {
            t.name: [(values[n][tunable.name], by_player_staged(data, t, n)) for n in played] for t in wishes
        }
        model = fit_between(tunable, data.build, wishes, results, sorted(varied - {tunable.name}))
        if model is None:
            continue
        low, high = targets.levers.range(tunable.name, tunable.role, tunable.low, tunable.high)
        stride = max(1, (high - low) // tunable.step // 200) * tunable.step
        options = tuple({tunable.name: v} for v in sorted({*range(low, high + 1, stride), tunable.value}))
        found = propose(
            model,
            wishes,
            targets.levers,
            lambda target: observed_staged(data, target),
            BetweenWords(),
            METHODS_BY_KIND["between"],
            len(data.players),
            data.runs.count,
            selection.game,
            levers=(Lever(tunable.name, options, joint=True),),
        )
        made += [p for p in found if p.changes][:1]
    return made


def _rhythm(
    reader: Reader,
    selection: Selection,
    targets: TargetSet,
    build: str | None,
    tick: Callable[[], None] | None,
) -> list[Proposal]:
    """Windows and offset, where the game has notes."""
    from analysis.models.windows import propose_windows

    notes = read_timing(reader, replace(selection, builds=(), stage=None, stage_kind=None))
    if notes is None:
        return []
    label = build or notes.builds[int(notes.build[-1])]
    tunables = [t for t in read_timing_tunables(reader, selection.game) if t.build == label]
    extra: dict[str, Any] = {"tick": tick}
    return propose_windows(notes, tunables, targets.targets, targets.levers, selection.game, label, **extra)
