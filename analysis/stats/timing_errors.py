"""Bias, spread and lapses of each player's hands, by measures that a few wild presses cannot move."""

from dataclasses import dataclass

import numpy as np

from analysis.stats.estimate import LEVEL, normal_critical
from analysis.stats.timed_notes import TimedNotes, group_medians

Array = np.ndarray
# Quartiles of the standard normal distribution lie at +-0.6745: half their distance over this is its spread.
_QUARTILE = 0.6744897501960817
# Errors that go together more than this are counted as if they went together this much.
_MOST_CARRIED = 19 / 20


@dataclass(frozen=True)
class PlayerErrors:
    """One element a player of `TimedNotes.players`; NaN where a player has no press.

    bias_us: median of press - due (negative: early), with its interval; spread_us: half the distance between
    the quartiles over 0.6745, the standard deviation where errors are normal; lapses: share of notes without a press;
    strays: presses that no note claims, per 100 notes; hit: share of notes hit in the window in force; runs, notes.
    autocorrelation: of neighbouring errors of a run, at lag 1 (negative for tapping without feedback: Wing &
    Kristofferson 1973).
    """

    bias_us: Array
    bias_low_us: Array
    bias_high_us: Array
    spread_us: Array
    lapses: Array
    strays: Array
    hit: Array
    runs: Array
    notes: Array
    autocorrelation: Array


def errors_by_player(notes: TimedNotes) -> PlayerErrors:
    """The errors of each player over all the notes given.

    The interval of a bias is that of a normal sample's median; presses that go together with the last count for less.
    """
    groups = len(notes.players)
    count = np.bincount(notes.player, minlength=groups).astype(float)
    pressed = np.bincount(notes.player, weights=notes.pressed, minlength=groups)
    bias, spread = bias_and_spread(notes.error_us, notes.player, groups)
    correlation = lag_one(notes.error_us - bias[notes.player], notes.run, notes.player, groups)
    # Neighbouring errors that go together count for less (n (1 - r) / (1 + r)); those that alternate are not counted
    # for more. The median of a normal sample needs pi/2 times the variance of its mean.
    carry = np.clip(np.nan_to_num(correlation), 0.0, _MOST_CARRIED)
    with np.errstate(divide="ignore", invalid="ignore"):
        error = spread * np.sqrt(np.pi / 2 / (pressed * (1 - carry) / (1 + carry)))
        lapses = 1 - pressed / count
        hit = np.bincount(notes.player, weights=notes.hit, minlength=groups) / count
    first_of_run = np.unique(notes.run, return_index=True)[1]
    runs = np.bincount(notes.player[first_of_run], minlength=groups)
    run_ids, run_player = notes.run[first_of_run], notes.player[first_of_run]
    stray_player = run_player[np.searchsorted(run_ids, notes.stray_run)] if len(run_ids) else np.zeros(0, int)
    with np.errstate(divide="ignore", invalid="ignore"):
        strays = 100 * np.bincount(stray_player, minlength=groups) / count
    margin = normal_critical(LEVEL) * error
    return PlayerErrors(
        bias, bias - margin, bias + margin, spread, lapses, strays, hit, runs, count.astype(int), correlation
    )


def bias_and_spread(error_us: Array, group: Array, groups: int) -> tuple[Array, Array]:
    """(median, spread from the quartiles) of the errors of each group; NaN for a group without any."""
    middle = group_medians(group, error_us, groups)
    distance = group_medians(group, np.abs(error_us - middle[group]), groups)
    return middle, distance / _QUARTILE


def lag_one(error_us: Array, run: Array, player: Array, groups: int) -> Array:
    """Correlation of neighbouring errors within a run, by player: rank-free but clipped at three spreads.

    error_us: (n,) around the player's own bias, in the order of runs and due times; NaN breaks a pair.
    """
    spread = group_medians(player, np.abs(error_us), groups) / _QUARTILE
    limit = 3 * spread[player]
    clipped = np.clip(error_us, -limit, limit)
    pair = (run[1:] == run[:-1]) & ~np.isnan(clipped[1:]) & ~np.isnan(clipped[:-1])
    a, b, own = clipped[:-1][pair], clipped[1:][pair], player[1:][pair]
    with np.errstate(divide="ignore", invalid="ignore"):
        product = np.bincount(own, a * b, groups)
        square = (np.bincount(own, a * a, groups) + np.bincount(own, b * b, groups)) / 2
        return np.where(square > 0, product / square, np.nan)
