"""What the playtest itself showed for a target, counted and not modelled.

A cut run (the console went off, the log broke off) is neither dropped nor taken for its end: what lasts long is cut
more often than what ends soon. One that had got there before the cut is resolved. The weight of one that had not is
handed on, in equal parts, to those that had a longer time alive (Efron 1967, the redistribution to the right that makes
the Kaplan-Meier curve). That is right where a cut comes regardless of what is about to happen. Without cut runs every
weight is 1.
"""

from dataclasses import dataclass

import numpy as np

from analysis.models.data import ENDINGS, StagedData, TrialData
from analysis.models.targets import Outcome, Population, Statistic, Target
from analysis.stats.rhythm.timed_notes import TimedNotes

CUT = ENDINGS.index("cut")


@dataclass(frozen=True)
class Observed:
    """The figure, None where nobody played what the target speaks of; and how many it rests on."""

    figure: float | None
    players: int
    runs: int


@dataclass(frozen=True)
class ByPlayer:
    """What each player did for a target: 0 or 1 where the target counts runs or players, else a mean.

    player: their tags; runs: how many of each player's runs the value rests on. Where shares lost runs to a cut, those
    who did it count for a little more than 1, so that the mean over the players is the figure; counted levels and
    streaks are plain means of the runs that were not cut.
    """

    player: np.ndarray
    value: np.ndarray
    runs: np.ndarray


@dataclass(frozen=True)
class _Counted:
    """One row a run that is resolved (or a player, where the target counts players once)."""

    player: np.ndarray
    value: np.ndarray
    weight: np.ndarray
    runs: np.ndarray


def observed_staged(data: StagedData, target: Target) -> Observed:
    """On the build to be changed, among players new to the game."""
    return _observed(_staged(data, target, data.current), target)


def observed_trials(data: TrialData, target: Target) -> Observed:
    """As `observed_staged`, for the one-shot game: a streak is the successes before a run's first miss."""
    return _observed(_trials(data, target, data.current), target)


def observed_hits(notes: TimedNotes, build: str, target: Target) -> Observed:
    """What players new to the game showed for a hit share on the build to be changed."""
    chosen = ~np.array(notes.experienced)[notes.player] & np.isfinite(notes.early_us)
    chosen &= notes.build == (notes.builds.index(build) if build in notes.builds else -1)
    if target.population == Population.ATTEMPT:
        chosen &= notes.attempt == target.attempt
    else:
        chosen &= notes.attempt <= (target.attempts if target.population == Population.NEW_PLAYERS else 1)
    if target.song is not None:
        chosen &= notes.song == notes.song_numbers.index(target.song)
    if not chosen.any():
        return Observed(None, 0, 0)
    player = np.unique(notes.player[chosen], return_inverse=True)[1].reshape(-1)
    share = np.bincount(player, notes.hit[chosen]) / np.bincount(player)
    return Observed(statistic(share, target), len(share), len(np.unique(notes.run[chosen])))


def by_player_staged(data: StagedData, target: Target, build: int) -> ByPlayer:
    """One value a player on one build (its index)."""
    return _by_player(np.array(data.players), _staged(data, target, build), target)


def by_player_trials(data: TrialData, target: Target, build: int) -> ByPlayer:
    """One value a player on one build (its index)."""
    return _by_player(np.array(data.players), _trials(data, target, build), target)


def resolved_weights(time: np.ndarray, resolved: np.ndarray) -> np.ndarray:
    """Weights of the resolved ones (0 for the others), with a mean of 1 over the resolved.

    time: when each was resolved, or lost sight of; at one time the resolved come first. What is left over when the
    longest are unresolved is spread over all.
    """
    if resolved.all():
        return np.ones(len(time))
    order = np.lexsort((~resolved, time))
    weight, handed = np.zeros(len(time)), 1.0
    for rank, n in enumerate(order):
        if resolved[n]:
            weight[n] = handed
        elif rank + 1 < len(order):
            handed *= 1 + 1 / (len(order) - rank - 1)
    total = weight.sum()
    return weight * resolved.sum() / total if total else weight


def _staged(data: StagedData, target: Target, build: int) -> _Counted:
    runs = data.runs
    chosen = (runs.build == build) & ~runs.experienced
    if target.population == Population.NEW_PLAYERS:
        chosen &= runs.attempt <= target.attempts
    else:
        chosen &= runs.attempt == (target.attempt if target.population == Population.ATTEMPT else 1)
    index = np.nonzero(chosen)[0]
    player, cut, time = runs.player[index], runs.ending[index] == CUT, runs.alive_s[index]
    if target.outcome == Outcome.RUN_LENGTH:
        return _resolved(player, time, time, ~cut)
    if target.statistic != Statistic.SHARE:
        levels = np.array([s.number for s in data.segments], dtype=float)
        return _resolved(player, levels[runs.furthest[index]], time, ~cut)
    finished = runs.ending[index] == ENDINGS.index("finished")
    if target.outcome == Outcome.QUIT_SHARE:
        quits = runs.ending[index] == ENDINGS.index("quit")
        return _resolved(player, quits.astype(float), time, ~cut)
    if target.outcome == Outcome.SURVIVE:
        wanted_s = float(target.number or 0)
        reached = finished | (time >= wanted_s)
        time = np.minimum(time, wanted_s)
    elif target.outcome in (Outcome.FINISH, Outcome.FINISH_WITHIN):
        reached = finished
    else:
        wanted = (int(target.number or 0), int(target.boss))
        there = np.array([(s.number, s.boss) >= wanted for s in data.segments])
        reached = there[runs.furthest[index]]
        time = np.where(reached, _before(data, index, ~there), time)
    if target.population == Population.NEW_PLAYERS:
        return _once(player, runs.attempt[index], time, reached, reached | ~cut)
    return _resolved(player, reached.astype(float), time, reached | ~cut)


def _before(data: StagedData, index: np.ndarray, before: np.ndarray) -> np.ndarray:
    """Seconds alive of the runs `index` in the segments that are `before` (segments,) the wanted one."""
    cells = data.cells
    spent: dict[tuple[int, int, int], float] = {}
    for n in np.nonzero(before[cells.segment])[0].tolist():
        key = (int(cells.player[n]), int(cells.attempt[n]), int(cells.build[n]))
        spent[key] = spent.get(key, 0.0) + float(cells.alive_s[n])
    runs = data.runs
    return np.array([spent.get((int(runs.player[n]), int(runs.attempt[n]), int(runs.build[n])), 0.0) for n in index])


def _once(
    player: np.ndarray, attempt: np.ndarray, time: np.ndarray, reached: np.ndarray, resolved: np.ndarray
) -> _Counted:
    """Each player once: did it in one of the attempts. Whoever was cut before is unresolved from there on."""
    players = np.unique(player)
    rows = []
    for who in players:
        own = np.nonzero(player == who)[0]
        clock, ends = 0.0, (False, True)
        for n in own[np.argsort(attempt[own], kind="stable")]:
            clock += float(time[n])
            ends = (bool(reached[n]), bool(resolved[n]))
            if reached[n] or not resolved[n]:
                break
        rows.append((float(ends[0]), clock, ends[1]))
    value, clocks, told = (np.array(column) for column in zip(*rows, strict=True)) if rows else np.zeros((3, 0))
    told = told.astype(bool)
    return _resolved(players, value, clocks, told, np.array([(player == p).sum() for p in players], dtype=int))


def _resolved(
    player: np.ndarray, value: np.ndarray, time: np.ndarray, resolved: np.ndarray, runs: np.ndarray | None = None
) -> _Counted:
    weight = resolved_weights(time, resolved)[resolved]
    own = np.ones(len(weight), dtype=int) if runs is None else runs[resolved]
    return _Counted(player[resolved], value[resolved], weight, own)


def _trials(data: TrialData, target: Target, build: int) -> _Counted:
    """One row a player for a hit share, otherwise one a run."""
    chosen = (data.build == build) & ~data.experienced
    # Of new players the first run counts, as it does in the prediction.
    chosen &= data.attempt == (target.attempt if target.population == Population.ATTEMPT else 1)
    runs, first = np.unique(data.run[chosen], return_index=True)
    if target.outcome == Outcome.HIT_SHARE:
        players = np.unique(data.player[chosen])
        shares = np.array([data.success[chosen & (data.player == p)].mean() for p in players], dtype=float)
        own = np.array([(data.player[chosen][first] == p).sum() for p in players], dtype=int)
        return _Counted(players, shares, np.ones(len(shares)), own)
    player = data.player[chosen][first]
    trials = [data.success[data.run == run] for run in runs]
    length = np.array([_streak(own) for own in trials], dtype=float)
    # A run that was cut with its streak unbroken might have gone on.
    cut = np.zeros(len(runs), dtype=bool) if data.cut is None else data.cut[chosen][first]
    told = ~cut | np.array([not own.all() for own in trials], dtype=bool)
    if target.statistic != Statistic.SHARE:
        return _resolved(player, length, length, told)
    wanted = float(target.number or 0)
    reached = length >= wanted
    return _resolved(player, reached.astype(float), np.minimum(length, wanted), told | reached)


def _observed(counted: _Counted, target: Target) -> Observed:
    players = len(np.unique(counted.player))
    if players == 0:
        return Observed(None, 0, 0)
    runs = int(counted.runs.sum())
    if target.statistic == Statistic.SHARE:
        return Observed(float(np.average(counted.value, weights=counted.weight)), players, runs)
    return Observed(statistic(counted.value, target, counted.weight), players, runs)


def _by_player(tags: np.ndarray, counted: _Counted, target: Target) -> ByPlayer:
    share = target.statistic == Statistic.SHARE
    value = counted.value * counted.weight if share else counted.value
    players = np.unique(counted.player)
    means = [value[counted.player == p].mean() for p in players]
    runs = [counted.runs[counted.player == p].sum() for p in players]
    return ByPlayer(tags[players], np.array(means, dtype=float), np.array(runs, dtype=int))


def _streak(success: np.ndarray) -> int:
    misses = np.nonzero(~success)[0]
    return int(misses[0]) if len(misses) else len(success)


def statistic(values: np.ndarray, target: Target, weight: np.ndarray | None = None) -> float | None:
    """Mean or quantile over players or runs; None of nothing. weight: with a mean of 1."""
    if len(values) == 0:
        return None
    if target.statistic == Statistic.MEAN:
        return float(np.average(values, weights=weight))
    quantile = target.quantile or 0.5
    if weight is None or np.all(weight == 1):
        return float(np.quantile(values, quantile))
    return float(np.quantile(values, quantile, weights=weight, method="inverted_cdf"))
