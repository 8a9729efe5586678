"""What each player did on one build, by a target: one value a player."""

from dataclasses import replace
from functools import cache, partial

import numpy as np

from analysis.models.observed import ByPlayer, by_player_staged, by_player_trials
from analysis.models.targets import Outcome, Population, Statistic, Target
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.timing_data import read_timing
from analysis.tuning_answers.staged_data import load_staged
from analysis.tuning_answers.tuning_data import NothingToTune, load_trials

_TRIAL_OUTCOMES = (Outcome.HIT_SHARE, Outcome.STREAK)


class Played:
    """What was played: several targets ask for the same runs, which are then loaded once."""

    def __init__(self, reader: Reader):
        self.reader = reader
        self.staged = cache(partial(load_staged, reader))
        self.trials = cache(partial(load_trials, reader))
        self.timing = cache(partial(read_timing, reader))


def player_values(
    data: Played, selection: Selection, target: Target, label: str, attempts: int | None = None
) -> ByPlayer | None:
    """One value a player on one build; None where the game cannot answer the target.

    attempts: of hits, only those of so many first attempts; other targets say it themselves.
    """
    selection = replace(selection.of_every_build(), builds=(label,), stage=None, stage_kind=None)
    try:
        if target.outcome in _TRIAL_OUTCOMES:
            hits = _hits(data, selection, target, attempts)
            if hits is not None:
                return hits
            trials = data.trials(selection, label)
            return by_player_trials(trials, target, trials.current)
        staged = data.staged(selection, label)
        return by_player_staged(staged, target, staged.current)
    except NothingToTune:
        return None


def _hits(data: Played, selection: Selection, target: Target, attempts: int | None) -> ByPlayer | None:
    """Each player's share of notes hit in the windows in force; None in a game without notes."""
    notes = data.timing(selection) if target.outcome == Outcome.HIT_SHARE else None
    if notes is None:
        return None
    keep = ~np.array(notes.experienced, dtype=bool)[notes.player]
    if attempts is not None:
        keep &= notes.attempt <= attempts
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


def quantile_of(target: Target) -> float | None:
    """The quantile over players that the target speaks of; None where it speaks of a mean or a share."""
    if target.statistic not in (Statistic.MEDIAN, Statistic.QUANTILE):
        return None
    return target.quantile or 0.5


def figure_of(target: Target, values: ByPlayer) -> float:
    """The target's figure of some players."""
    quantile = quantile_of(target)
    return float(values.value.mean() if quantile is None else np.quantile(values.value, quantile))


def of_first_runs(target: Target) -> Target:
    """Of hits and streaks what is predicted is what new players do in their first run: in the second they know the
    game."""
    first = target.outcome in _TRIAL_OUTCOMES and target.population == Population.NEW_PLAYERS
    return replace(target, population=Population.FIRST_ATTEMPT) if first else target
