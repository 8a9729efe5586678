"""Predictions that the study keeps with their date, and what became of them."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from typing import Any

from analysis.findings.progress.player_values import Played, figure_of, of_first_runs, player_values
from analysis.models.data import Build
from analysis.models.targets import Statistic, Target, TargetSet
from analysis.selection import Selection
from analysis.tuning.proposal import Prediction
from analysis.tuning.scoring import Score, count_interval
from analysis.tuning_answers.tuning_answer import TuningAnswer

KEPT_PROPOSALS = 8


def predictions_to_keep(answer: TuningAnswer, targets: TargetSet) -> Iterator[tuple[str, dict[str, Any]]]:
    """(build label, JSON) of each proposal, so that whichever is accepted can be scored later.

    Of people like the testers: the next playtest's people are mostly found in the same way.
    """
    wishes = {t.name: asdict(t) for t in targets.targets}
    for proposal in answer.proposals[:KEPT_PROPOSALS]:
        said = [
            {
                "target": wishes.get(p.target, {"name": p.target}),
                "now": asdict(p.testers_now),
                "proposed": asdict(p.testers_proposed),
                "wanted": p.wanted,
                "unit": p.unit,
            }
            for p in proposal.targets
        ]
        yield (
            proposal.build,
            {"proposal": proposal.id, "changes": {c.tunable: c.proposed for c in proposal.changes}, "targets": said},
        )


def scores_of(data: Played, selection: Selection, builds: Mapping[int, Build], label: str) -> Iterator[Score]:
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
                score = _score(data, selection, label, said, kept["proposal"], made_on, str(rows["noted_at"][n]))
                if score is not None and (score.proposal, score.target) not in done:
                    done.add((score.proposal, score.target))
                    yield score
        except (KeyError, TypeError, ValueError):
            continue  # written by another version; the raw row stays in the study


def _score(
    data: Played, selection: Selection, label: str, said: Mapping[str, Any], proposal: str, made_on: str, noted_at: str
) -> Score | None:
    target = of_first_runs(Target(**said["target"]))
    seen = player_values(data, selection, target, label)
    if seen is None or not len(seen.value):
        return None
    predicted, plain = Prediction(**said["proposed"]), Prediction(**said["now"])
    players = len(seen.value)
    share = target.statistic == Statistic.SHARE
    low, high = count_interval(predicted, players) if share else (predicted.low80, predicted.high80)
    return Score(
        noted_at,
        made_on,
        proposal,
        target.name,
        predicted,
        plain,
        target.wanted,
        target.unit,
        figure_of(target, seen),
        players,
        int(seen.runs.sum()),
        low,
        high,
    )
