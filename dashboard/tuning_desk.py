"""What the tuning page keeps between clicks: the targets as they stand, the last answer, the fitted models."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from analysis.finding import plain
from analysis.findings.kept_predictions import predictions_to_keep
from analysis.findings.tuning_answer import Fitted, TuningAnswer, fit_game, fitted_otherwise, propose_game
from analysis.findings.tuning_data import load_builds
from analysis.models.data import Tunable
from analysis.models.targets import Target, TargetSet
from analysis.selection import Selection
from analysis.tuning.c_header import header_text
from analysis.tuning.proposal import Prediction
from analysis.tuning.search import movable
from analysis.tuning.target_file import read_targets
from analysis.tuning.whatif import OutcomeMap, Sensitivity, outcome_map, predict
from dashboard.jobs import Job
from dashboard.session import Session

# About how often the search reports; only the bar's speed hangs on it.
_USUAL_TICKS = 200


@dataclass(frozen=True)
class Worked:
    """The result of one job: the answer, and the models that the sliders ask."""

    selection: Selection
    targets: TargetSet
    text: str
    answer: TuningAnswer
    fitted: tuple[Fitted, ...]


def work(session: Session, selection: Selection, text: str, job: Job) -> Worked:
    """Proposes, and fits for the sliders. Raises BadTargets, NothingToTune, Cancelled."""
    targets = read_targets(text)
    ticks = 0

    def tick() -> None:
        nonlocal ticks
        ticks += 1
        job.report(0.9 * ticks / (ticks + _USUAL_TICKS / 2), "looking for settings that reach the targets")

    job.report(0.02, "fitting the model to the runs")
    answer = propose_game(session.reader, selection, targets, tick=tick)
    job.report(0.92, "fitting the model for the sliders")
    fitted, _ = fit_game(session.reader, selection, targets)
    return Worked(selection, targets, text, answer, tuple(fitted))


def levers(worked: Worked) -> list[Tunable]:
    """The tunables with a slider: those that the models know and the targets let move, in the range they allow."""
    found: dict[str, Tunable] = {}
    for one in worked.fitted:
        for tunable in movable(one.model.tunables, worked.targets.levers):
            found.setdefault(tunable.name, tunable)
    return list(found.values())


def what_if(worked: Worked, setting: Mapping[str, int]) -> list[tuple[Target, Prediction, Prediction]]:
    """Each target that a model knows: as things are, and under `setting`."""
    rows: list[tuple[Target, Prediction, Prediction]] = []
    for one in worked.fitted:
        known = [target for target in worked.targets.targets if one.model.knows(target)]
        own = {name: value for name, value in setting.items() if name in {t.name for t in one.model.tunables}}
        rows += zip(known, predict(one.model, {}, known), predict(one.model, own, known), strict=True)
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
    return [t for t in worked.targets.targets if any(one.model.knows(t) for one in worked.fitted)]


def map_of(worked: Worked, target: str, across: str, up: str, job: Job) -> Mapped:
    """One target over two tunables, the others as they are. Raises ValueError, Cancelled."""
    if across == up:
        raise ValueError("Choose two different tunables.")
    wish = next((t for t in mappable(worked) if t.name == target), None)
    for one in worked.fitted:
        values = {t.name: t.value for t in movable(one.model.tunables, worked.targets.levers)}
        if wish is not None and one.model.knows(wish) and {across, up} <= set(values):
            drawn = outcome_map(
                one.model, wish, across, up, wishes=worked.targets.levers,
                tick=lambda share: job.report(share, "predicting every square"),
            )  # fmt: skip
            return Mapped(wish, drawn, (values[across], values[up]))
    raise ValueError("No model knows both tunables and the target.")


def otherwise(worked: Worked, job: Job) -> Otherwise:
    """The first proposals under other assumptions. Raises Cancelled."""
    rows = fitted_otherwise(
        worked.fitted, worked.targets, worked.answer, lambda share: job.report(share, "fitting once more")
    )
    return Otherwise(tuple(rows), worked.targets.targets)


def accept(session: Session, worked: Worked, number: int) -> str:
    """Keeps the prediction of one proposal in the study, so that the next playtest is held against it."""
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
