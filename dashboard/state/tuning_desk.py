"""What the tuning page keeps between clicks: the targets as they stand, the last answer, the fitted models."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from analysis.findings.progress.kept_predictions import predictions_to_keep
from analysis.models.data import Tunable
from analysis.models.moves import movable
from analysis.models.targets import Target, TargetSet
from analysis.plain import plain
from analysis.selection import Selection
from analysis.tuning.c_header import header_text
from analysis.tuning.proposal import Prediction, Proposal
from analysis.tuning.target_file import read_targets
from analysis.tuning.whatif import OutcomeMap, Sensitivity, outcome_map, predict
from analysis.tuning_answers.chance_to_see import chance_to_see
from analysis.tuning_answers.tuning_answer import TuningAnswer, propose_game, under_other_assumptions
from analysis.tuning_answers.tuning_data import load_builds
from dashboard.state.dashboard_session import Session
from dashboard.state.jobs import Job

# About how often the search reports; only the bar's speed hangs on it.
_USUAL_TICKS = 200


@dataclass(frozen=True)
class Worked:
    """The result of one job: the answer, with the models that sliders, map and other assumptions ask.

    seen: of each proposal whether the people one has could show it, by its number; counted: side effect -> what was
    counted of it on the build that is to be changed, and of how many.
    """

    selection: Selection
    targets: TargetSet
    text: str
    answer: TuningAnswer
    seen: Mapping[int, str] = field(default_factory=dict)
    counted: tuple[Mapping[str, float | None], str] = ({}, "")


def work(session: Session, selection: Selection, text: str, job: Job) -> Worked:
    """Fits and proposes. Raises BadTargets, NothingToTune, Cancelled."""
    targets = read_targets(text)
    ticks = 0

    def tick() -> None:
        nonlocal ticks
        ticks += 1
        job.report(0.98 * ticks / (ticks + _USUAL_TICKS / 2), "looking for settings that reach the targets")

    job.report(0.02, "fitting the model to the runs")
    answer = propose_game(session.reader, selection, targets, tick=tick)
    seen = {n: chance for n, p in enumerate(answer.proposals) if (chance := _seen(answer, p))}
    return Worked(selection, targets, text, answer, seen, session.first_runs(selection.game, answer.build))


def _seen(answer: TuningAnswer, proposal: Proposal) -> str:
    way = next((one for one in proposal.ways if one.id == proposal.id), None)
    seen = None if way is None else chance_to_see(answer, way)
    return "" if seen is None else f"{seen}."


def levers(worked: Worked) -> list[Tunable]:
    """The tunables with a slider: those that the models know and the targets let move, in the range they allow."""
    found: dict[str, Tunable] = {}
    for model in worked.answer.fitted:
        for tunable in movable(model.acting, worked.targets.changeable):
            found.setdefault(tunable.name, tunable)
    return list(found.values())


def what_if(worked: Worked, setting: Mapping[str, int]) -> list[tuple[str, Target, Prediction, Prediction]]:
    """Each target that a model is to meet, its name first: as things are, and under `setting`."""
    rows: list[tuple[str, Target, Prediction, Prediction]] = []
    for model in worked.answer.fitted:
        known = model.asked(worked.targets.targets)
        own = {t.name: setting[t.name] for t in model.acting if t.name in setting}
        names = [f"{target.name} ({model.apart})" if model.apart else target.name for target in known]
        rows += zip(names, known, predict(model, {}, known), predict(model, own, known), strict=True)
    return rows


@dataclass(frozen=True)
class Mapped:
    """A target over two tunables, and what they are now."""

    target: Target
    map: OutcomeMap
    now: tuple[int, int]


@dataclass(frozen=True)
class Otherwise:
    """What the proposals would be predicted to do, had something else been assumed; with the targets they speak of."""

    rows: tuple[Sensitivity, ...]
    targets: tuple[Target, ...]


def mappable(worked: Worked) -> list[Target]:
    """The targets that can be drawn over two tunables."""
    return [t for t in worked.targets.targets if any(model.knows(t) for model in worked.answer.fitted)]


def map_of(worked: Worked, target: str, across: str, up: str, job: Job) -> Mapped:
    """One target over two tunables, the others as they are. Raises ValueError, Cancelled."""
    if across == up:
        raise ValueError("Choose two different tunables.")
    wish = next((t for t in mappable(worked) if t.name == target), None)
    for model in worked.answer.fitted:
        values = {t.name: t.value for t in movable(model.acting, worked.targets.changeable)}
        if wish is not None and model.knows(wish) and {across, up} <= set(values):
            drawn = outcome_map(
                model,
                wish,
                across,
                up,
                wishes=worked.targets.changeable,
                tick=lambda share: job.report(share, "predicting every square"),
            )
            return Mapped(wish, drawn, (values[across], values[up]))
    raise ValueError("No model knows what both tunables do to this target.")


def otherwise(worked: Worked, job: Job) -> Otherwise:
    """The first proposals under other assumptions. Raises Cancelled."""
    rows = under_other_assumptions(worked.answer, worked.targets, lambda share: job.report(share, "fitting once more"))
    return Otherwise(tuple(rows), worked.targets.targets)


def accept(session: Session, worked: Worked, number: int) -> str:
    """Keeps the prediction of one proposal in the study, so that the next playtest is compared with it."""
    proposal = worked.answer.proposals[number]
    kept: list[tuple[str, dict[str, Any]]] = list(predictions_to_keep(worked.answer, worked.targets))
    label, prediction = next((one for one in kept if one[1]["proposal"] == proposal.id), kept[0])
    session.add_prediction(worked.selection.game, label, plain(prediction))
    return "Kept. When the changed build has been played, “Did it help” holds this prediction against it."


def header(session: Session, worked: Worked, number: int) -> str:
    """The C header of one proposal: all values of its build, those proposed in place."""
    proposal = worked.answer.proposals[number]
    builds = {build.label: build for build in load_builds(session.reader, worked.selection.game).values()}
    return header_text(
        builds[proposal.build].tunables,
        {change.tunable: change.proposed for change in proposal.changes},
        worked.selection.game,
        proposal.build,
        worked.answer.fingerprint,
        date.today().isoformat(),
        f"proposal {proposal.id}",
        "SETSCREW_TUNABLES_H",
    )
