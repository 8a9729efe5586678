"""The rates of one attempt under a setting, for posterior draws and new players' skills: what the chain plays."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from analysis.models.data import Segment
from analysis.models.setting import Rules
from analysis.models.staged_games.chain import Course
from analysis.models.targets import Statistic, Target

if TYPE_CHECKING:
    from analysis.models.staged_games.staged import StagedModel


# Danger that falls faster than this with a life's age would all lie at its beginning.
LEAST_AGE = -0.8


def course_of(model: StagedModel, rule: Rules, attempt: int, pick: np.ndarray, at: np.ndarray) -> Course:
    """The rates of one attempt under `rule`, for the draws `pick` x the standard normal skills `at`."""
    hazard, times, segments = model.hazard, model.times, model.data.segments
    moved = {role: dose - model.now.doses[role] for role, dose in rule.doses.items()}
    tier = np.arange(model.data.tiers)[:, None, None]

    def of(name: str) -> np.ndarray:
        return hazard.effect(name)[pick][:, None]

    base = hazard.alpha()[pick].T[:, :, None]
    for role, step in moved.items():
        base = base + (of(role) * step).T[:, :, None]
    base = base + of("learning")[None] * np.log(attempt)
    # The audience differs from people like the testers as one player does from another: in its pace too.
    skill = hazard.sigma[pick][:, None] * at + model.audience[pick][:, None]
    log_death = base[:, None] + skill + of("tier") * tier
    boss = np.array([s.boss for s in segments], dtype=bool)[:, None, None, None]
    power = np.where(boss, times.power_boss[pick][:, None], times.power[pick][:, None])
    log_time = times.level[pick].T[:, None, :, None] - power * tier
    for role, effect in times.levers.items():
        log_time = log_time + (effect[pick][:, None] * moved[role]).T[:, None, :, None]
    log_time = log_time + times.skill[pick][:, None] * skill
    # The chain wants the mean of the log-normal time; its level is the median.
    log_time = log_time + times.spread[pick][:, None] ** 2 / 2
    # And the mean danger of a life from end to end: that of the age 1, carried to the time that it takes here.
    age = np.maximum(hazard.effect("age")[pick], LEAST_AGE)
    usual = np.log(model.data.usual_s)[:, None, None, None]
    log_death = log_death + age[:, None] * (log_time - usual) - np.log1p(age)[:, None]
    faster = sum((effect[pick][:, None] * moved[role]).T for role, effect in model.rise_effects.items())
    rise = model.rise[pick].T * np.exp(np.clip(faster, -25, 5))
    shape = (len(segments), model.data.tiers, -1)

    def spread(values: np.ndarray) -> np.ndarray:
        return np.repeat(values, len(at), axis=-1)

    survives = rule.keep_tier
    return Course(
        start_lives=rule.start_lives,
        refill=rule.refill,
        start_tier=model.data.start_tier,
        death=np.exp(np.clip(log_death, -25, 4)).reshape(shape),
        clear_s=np.exp(np.clip(log_time, -5, 9)).reshape(shape),
        rise=spread(rise),
        keep_tier=spread(model.keep_tier[pick] if survives is None else np.full(len(pick), survives)),
        quit_first=spread(model.quit_first[pick]),
        quit_again=spread(model.quit_again[pick]),
        spread=spread(times.spread[pick]),
        age=spread(age),
        leave=spread(model.leave[pick]),
        again=spread(np.exp(np.clip(hazard.effect("again")[pick], -3, 3))),
        restarts=model.data.restarts,
    )


@cache
def skills(nodes: int) -> tuple[np.ndarray, np.ndarray]:
    """Standard normal skills and their weights: Gauss-Hermite quadrature."""
    at, weight = np.polynomial.hermite_e.hermegauss(nodes)
    return at, weight / weight.sum()


def level_statistic(target: Target, reach: np.ndarray, segments: Sequence[Segment]) -> np.ndarray:
    """(draws,): mean or quantile of the level in which a run ends, from the chances of reaching each level."""
    numbers = np.array([s.number for s in segments], dtype=float)
    stays = reach[:-1] - reach[1:]
    stays[-1] += reach[-1]
    total = np.maximum(stays.sum(axis=0), 1e-12)
    if target.statistic == Statistic.MEAN:
        return numbers @ stays / total
    below = np.cumsum(stays, axis=0) / total
    quantile = target.quantile or 0.5
    place = np.argmax(below >= quantile - 1e-12, axis=0)
    # Interpolated within the level, so that the figure moves with every lever; half a level either side.
    row = np.arange(len(place))
    before = np.where(place > 0, below[np.maximum(place - 1, 0), row], 0.0)
    share = (quantile - before) / np.maximum(below[place, row] - before, 1e-12)
    return numbers[place] - 0.5 + np.clip(share, 0, 1)
