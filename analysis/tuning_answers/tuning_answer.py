"""The join for the tuning: from the study and the targets to fitted models and ranked proposals."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from analysis.game_kind import read_kind, words_behind
from analysis.models.audience import shift_of
from analysis.models.between_builds import fit_between, varied
from analysis.models.fitted import Fitted
from analysis.models.rhythm_games.rhythm import RhythmModel
from analysis.models.staged_games.staged import StagedModel, fit_staged
from analysis.models.targets import Changeable, Outcome, Target, TargetSet
from analysis.models.trials import fit_trials
from analysis.played_order import build_to_change
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.timing_data import read_timing, read_timing_tunables
from analysis.tuning.proposal import Proposal
from analysis.tuning.ranking import propose
from analysis.tuning.whatif import Sensitivity, sensitivity
from analysis.tuning_answers.staged_data import load_staged
from analysis.tuning_answers.tuning_data import NoTrials, load_builds, load_trials, said_of_testers
from analysis.tuning_answers.unanswered import why_not_hits, why_not_staged
from ingest.vocabulary import Recruitment

_TRIAL = (Outcome.HIT_SHARE, Outcome.STREAK)


@dataclass(frozen=True)
class TuningAnswer:
    """All that `setscrew propose` says of one game, with the models it was found with.

    unanswered: target -> why there is nothing to say. targets: what was wanted.
    """

    game: str
    build: str
    fingerprint: str
    proposals: tuple[Proposal, ...]
    unanswered: dict[str, str]
    warnings: tuple[str, ...]
    fitted: tuple[Fitted, ...] = ()
    targets: tuple[Target, ...] = ()


def fit_game(
    reader: Reader, selection: Selection, targets: TargetSet, build: str | None = None
) -> tuple[list[Fitted], dict[str, str]]:
    """The models that the targets call for, and for which targets none could be fitted, with the reason."""
    selection = replace(selection.of_every_build(), stage=None, stage_kind=None)
    fitted: list[Fitted] = []
    why: dict[str, str] = {}

    def fit(wishes: Sequence[Target], fits: Callable[[], Sequence[Fitted]]) -> None:
        """Adds what `fits` makes, where something is wished for; or the reason why it cannot."""
        try:
            fitted.extend(fits() if wishes else ())
        except NoTrials:
            pass  # there may be notes
        except ValueError as error:
            why.update({t.name: str(error) for t in wishes})

    hits = [t for t in targets.targets if t.outcome == Outcome.HIT_SHARE]
    shots = [t for t in targets.targets if t.outcome in _TRIAL and t.song is None]
    of_runs = [t for t in targets.targets if t.outcome not in _TRIAL]
    fit(of_runs, lambda: [fit_staged(load_staged(reader, selection, build, targets.runs_each))])
    fit(shots, lambda: [fit_trials(load_trials(reader, selection, build))])
    fit(hits, lambda: _rhythm(reader, selection, build))
    for target in targets.targets:
        if any(model.knows(target) for model in fitted):
            why.pop(target.name, None)
        else:
            data = next((model.data for model in fitted if isinstance(model, StagedModel)), None)
            if data is None or target.outcome in _TRIAL:
                why.setdefault(target.name, why_not_hits(target))
            else:
                why.setdefault(target.name, why_not_staged(target, data))
    shift = shift_of(testers_of(reader, targets))
    return [model.for_audience(shift) for model in [*fitted, *_between(fitted, of_runs, targets.changeable)]], why


def testers_of(reader: Reader, targets: TargetSet) -> Recruitment:
    """How the people who played were found: as the targets say, else as the study says, else not known."""
    return targets.testers or said_of_testers(reader)


def propose_game(
    reader: Reader,
    selection: Selection,
    targets: TargetSet,
    build: str | None = None,
    tick: Callable[[], None] | None = None,
) -> TuningAnswer:
    """Ranked proposals for one game, the best of each kind of target first.

    build: label of the build to change; None: the last that was played. tick: called often; raise in it to cancel.
    """
    fitted, why = fit_game(reader, selection, targets, build)
    testers = testers_of(reader, targets)
    odd = read_kind(reader, replace(selection.of_every_build(), stage=None, stage_kind=None)).contradictions
    unsure = build_to_change(reader, selection.game)[1] if build is None else ""
    logs = [str(name) for name in reader.ask("roles_behind", game=selection.game)["name"]]
    behind = (words_behind(logs),) if logs else ()
    made: list[Proposal] = []
    for model in fitted:
        found = propose(model, targets.targets, targets.changeable, selection.game, testers, tick)
        made += found if model.of_the_game else [p for p in found if p.changes][:1]
    return TuningAnswer(
        selection.game,
        fitted[0].build.label if fitted else "",
        reader.fingerprint(),
        tuple(made),
        why,
        (*filter(None, [unsure]), *_unknown_levers(reader, selection.game, targets), *map(str, odd), *behind),
        tuple(fitted),
        targets.targets,
    )


def _unknown_levers(reader: Reader, game: str, targets: TargetSet) -> tuple[str, ...]:
    """What the targets file says of tunables that no build of the game has."""
    tunables = [tunable for build in load_builds(reader, game).values() for tunable in build.tunables]
    names = {word for tunable in tunables for word in (tunable.name, tunable.role) if word}
    levers = targets.changeable
    said = dict.fromkeys([*levers.allowed, *levers.frozen, *levers.ranges])
    has = ", ".join(dict.fromkeys(tunable.name for tunable in tunables)) or "none"
    return tuple(
        f"the targets file names {word!r}, which is no tunable of this game; it has: {has}"
        for word in said
        if word not in names
    )


def under_other_assumptions(
    answer: TuningAnswer, targets: TargetSet, tick: Callable[[float], None] = lambda share: None
) -> list[Sensitivity]:
    """What the first proposal of each of the answer's models would be predicted to do, had something else been assumed.

    tick: called with the share done as it goes on; it may raise to stop.
    """
    rows: list[Sensitivity] = []
    told = [(model, best) for model in answer.fitted if (best := _first_of(model, answer)) is not None]
    for done, (model, best) in enumerate(told):
        setting = {change.tunable: change.proposed for change in best.changes}
        rows += sensitivity(
            model,
            setting,
            targets.targets,
            lambda share, done=done: tick((done + share) / len(told)),  # type: ignore[misc]
        )
    return rows


def _first_of(model: Fitted, answer: TuningAnswer) -> Proposal | None:
    """The first proposal that a model made."""
    own = (p for p in answer.proposals if p.method == model.method)
    if model.of_the_game:
        return next(own, None)
    moved = {tunable.name for tunable in model.acting}
    return next((p for p in own if moved & {change.tunable for change in p.changes}), None)


def _between(fitted: Sequence[Fitted], wishes: Sequence[Target], allowed: Changeable) -> list[Fitted]:
    """A plain dose-response for every tunable whose effect no model knows and that differed between the builds."""
    data = next((model.data for model in fitted if isinstance(model, StagedModel)), None)
    if data is None:
        return []
    known = {role for model in fitted for role in model.roles} | set(RhythmModel.roles)
    differing = varied(data)
    made = [
        fit_between(data, tunable, wishes, [name for name in differing if name != tunable.name])
        for tunable in data.build.tunables
        if tunable.name in differing and tunable.role not in known and allowed.allows(tunable.name, tunable.role)
    ]
    return [model for model in made if model is not None]


def _rhythm(reader: Reader, selection: Selection, build: str | None) -> list[Fitted]:
    """Windows and offset, where the game has notes."""
    notes = read_timing(reader, selection)
    if notes is None:
        return []
    label = build or build_to_change(reader, selection.game)[0] or notes.builds[int(notes.build[-1])]
    tunables = [t for t in read_timing_tunables(reader, selection.game) if t.build == label]
    return [RhythmModel(notes, tunables, label)]
