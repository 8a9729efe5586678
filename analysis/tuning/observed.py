"""What the playtest itself showed for a target, counted and not modelled."""

from dataclasses import dataclass

import numpy as np

from analysis.tuning.data import ENDINGS, StagedData, TrialData
from analysis.tuning.targets import Outcome, Population, Statistic, Target


@dataclass(frozen=True)
class Observed:
    """The figure, None where nobody played what the target speaks of; and how many it rests on."""

    figure: float | None
    players: int
    runs: int


def observed_staged(data: StagedData, target: Target) -> Observed:
    """On the build to be changed, among players new to the game. Cut runs count only where they had got there."""
    runs = data.runs
    chosen = (runs.build == data.current) & ~runs.experienced
    if target.population == Population.NEW_PLAYERS:
        chosen &= runs.attempt <= target.attempts
    else:
        chosen &= runs.attempt == (target.attempt if target.population == Population.ATTEMPT else 1)
    finished = runs.ending == ENDINGS.index("finished")
    cut = runs.ending == ENDINGS.index("cut")
    if target.statistic != Statistic.SHARE:
        chosen &= ~cut
        levels = np.array([data.segments[n].number for n in runs.furthest[chosen]], dtype=float)
        return Observed(statistic(levels, target), len(set(runs.player[chosen].tolist())), int(chosen.sum()))
    if target.outcome == Outcome.SURVIVE:
        reached = finished | (runs.alive_s >= float(target.number or 0))
    elif target.outcome in (Outcome.FINISH, Outcome.FINISH_WITHIN):
        reached = finished
    else:
        wanted = (int(target.number or 0), int(target.boss))
        far = np.array([(s.number, s.boss) >= wanted for s in data.segments])
        reached = far[runs.furthest] if len(far) else np.zeros(0, dtype=bool)
    chosen &= reached | ~cut
    players = np.unique(runs.player[chosen])
    if len(players) == 0:
        return Observed(None, 0, 0)
    if target.population == Population.NEW_PLAYERS:
        per_player = [reached[chosen & (runs.player == p)].any() for p in players]
        return Observed(float(np.mean(per_player)), len(players), int(chosen.sum()))
    return Observed(float(reached[chosen].mean()), len(players), int(chosen.sum()))


def observed_trials(data: TrialData, target: Target) -> Observed:
    """As `observed_staged`, for the one-shot game: a streak is the successes before a run's first miss."""
    chosen = (data.build == data.current) & ~data.experienced
    if target.population == Population.ATTEMPT:
        chosen &= data.attempt == target.attempt
    elif target.population == Population.FIRST_ATTEMPT:
        chosen &= data.attempt == 1
    players = np.unique(data.player[chosen])
    runs = np.unique(data.run[chosen])
    if len(players) == 0:
        return Observed(None, 0, 0)
    if target.outcome == Outcome.HIT_SHARE:
        values = np.array([data.success[chosen & (data.player == p)].mean() for p in players])
    else:
        values = np.array([_streak(data.success[data.run == run]) for run in runs], dtype=float)
    if target.statistic == Statistic.SHARE:
        figure: float | None = float((values >= float(target.number or 0)).mean())
    else:
        figure = statistic(values, target)
    return Observed(figure, len(players), len(runs))


def _streak(success: np.ndarray) -> int:
    misses = np.nonzero(~success)[0]
    return int(misses[0]) if len(misses) else len(success)


def statistic(values: np.ndarray, target: Target) -> float | None:
    """Mean or quantile over players or runs; None of nothing."""
    if len(values) == 0:
        return None
    if target.statistic == Statistic.MEAN:
        return float(values.mean())
    return float(np.quantile(values, target.quantile or 0.5))
