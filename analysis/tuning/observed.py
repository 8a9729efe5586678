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


@dataclass(frozen=True)
class ByPlayer:
    """What each player did for a target: 0 or 1 where the target counts runs or players, else a mean.

    player: their tags.
    """

    player: np.ndarray
    value: np.ndarray
    runs: int


def observed_staged(data: StagedData, target: Target) -> Observed:
    """On the build to be changed, among players new to the game. Cut runs count only where they had got there."""
    run, value = _staged_runs(data, target, data.current)
    return _observed(data.runs.player[run], value, len(run), target)


def observed_trials(data: TrialData, target: Target) -> Observed:
    """As `observed_staged`, for the one-shot game: a streak is the successes before a run's first miss."""
    player, value, runs = _trial_runs(data, target, data.current)
    return _observed(player, value, runs, target)


def by_player_staged(data: StagedData, target: Target, build: int) -> ByPlayer:
    """One value a player on one build (its index)."""
    run, value = _staged_runs(data, target, build)
    return _by_player(np.array(data.players)[data.runs.player[run]], value, len(run), target)


def by_player_trials(data: TrialData, target: Target, build: int) -> ByPlayer:
    """One value a player on one build (its index)."""
    player, value, runs = _trial_runs(data, target, build)
    return _by_player(np.array(data.players)[player], value, runs, target)


def _staged_runs(data: StagedData, target: Target, build: int) -> tuple[np.ndarray, np.ndarray]:
    """(indices of the runs that count, their values)."""
    runs = data.runs
    chosen = (runs.build == build) & ~runs.experienced
    if target.population == Population.NEW_PLAYERS:
        chosen &= runs.attempt <= target.attempts
    else:
        chosen &= runs.attempt == (target.attempt if target.population == Population.ATTEMPT else 1)
    finished = runs.ending == ENDINGS.index("finished")
    cut = runs.ending == ENDINGS.index("cut")
    if target.statistic != Statistic.SHARE:
        chosen &= ~cut
        levels = np.array([s.number for s in data.segments], dtype=float)
        return np.nonzero(chosen)[0], levels[runs.furthest[chosen]]
    if target.outcome == Outcome.SURVIVE:
        reached = finished | (runs.alive_s >= float(target.number or 0))
    elif target.outcome in (Outcome.FINISH, Outcome.FINISH_WITHIN):
        reached = finished
    else:
        wanted = (int(target.number or 0), int(target.boss))
        reached = np.array([(s.number, s.boss) >= wanted for s in data.segments])[runs.furthest]
    chosen &= reached | ~cut
    return np.nonzero(chosen)[0], reached[chosen].astype(float)


def _trial_runs(data: TrialData, target: Target, build: int) -> tuple[np.ndarray, np.ndarray, int]:
    """(players, values, runs): one row a player for a hit share, otherwise one a run."""
    chosen = (data.build == build) & ~data.experienced
    # Of new players the first run counts, as it does in the prediction.
    chosen &= data.attempt == (target.attempt if target.population == Population.ATTEMPT else 1)
    runs, first = np.unique(data.run[chosen], return_index=True)
    if target.outcome == Outcome.HIT_SHARE:
        players = np.unique(data.player[chosen])
        shares = [data.success[chosen & (data.player == p)].mean() for p in players]
        return players, np.array(shares, dtype=float), len(runs)
    values = np.array([_streak(data.success[data.run == run]) for run in runs], dtype=float)
    if target.statistic == Statistic.SHARE:
        values = (values >= float(target.number or 0)).astype(float)
    return data.player[chosen][first], values, len(runs)


def _observed(player: np.ndarray, value: np.ndarray, runs: int, target: Target) -> Observed:
    by_player = _by_player(player, value, runs, target)
    players = len(by_player.player)
    if players == 0:
        return Observed(None, 0, 0)
    if target.population == Population.NEW_PLAYERS and target.statistic == Statistic.SHARE:
        return Observed(float(by_player.value.mean()), players, runs)
    if target.statistic == Statistic.SHARE:
        return Observed(float(value.mean()), players, runs)
    return Observed(statistic(value, target), players, runs)


def _by_player(player: np.ndarray, value: np.ndarray, runs: int, target: Target) -> ByPlayer:
    once = target.population == Population.NEW_PLAYERS and target.statistic == Statistic.SHARE
    players = np.unique(player)
    values = [value[player == p].max() if once else value[player == p].mean() for p in players]
    return ByPlayer(players, np.array(values, dtype=float), runs)


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
