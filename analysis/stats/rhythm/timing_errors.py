"""Bias, spread and lapses of each player's hands, by measures that a few wild presses cannot move."""

from dataclasses import dataclass

import numpy as np

from analysis.stats.clusters import sums
from analysis.stats.estimate import LEVEL
from analysis.stats.jackknife import critical_by_player
from analysis.stats.rhythm.timed_notes import TimedNotes, group_medians

Array = np.ndarray
# Quartiles of the standard normal distribution lie at +-0.6745: half their distance over this is its spread.
_QUARTILE = 0.6744897501960817


@dataclass(frozen=True)
class PlayerErrors:
    """One element a player of `TimedNotes.players`; NaN where a player has no press.

    bias_us: median of press - due (negative: early), with its interval by run; spread_us: half the distance between
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
    """The errors of each player over all the notes given. A player of one run has a bias without an interval."""
    groups = len(notes.players)
    count = np.bincount(notes.player, minlength=groups).astype(float)
    pressed = np.bincount(notes.player, weights=notes.pressed, minlength=groups)
    bias, spread = bias_and_spread(notes.error_us, notes.player, groups)
    correlation = lag_one(notes.error_us - bias[notes.player], notes.run, notes.player, groups)
    with np.errstate(divide="ignore", invalid="ignore"):
        lapses = 1 - pressed / count
        hit = np.bincount(notes.player, weights=notes.hit, minlength=groups) / count
    first_of_run = np.unique(notes.run, return_index=True)[1]
    runs = np.bincount(notes.player[first_of_run], minlength=groups)
    run_ids, run_player = notes.run[first_of_run], notes.player[first_of_run]
    stray_player = run_player[np.searchsorted(run_ids, notes.stray_run)] if len(run_ids) else np.zeros(0, int)
    with np.errstate(divide="ignore", invalid="ignore"):
        strays = 100 * np.bincount(stray_player, minlength=groups) / count
    margin = bias_margin(notes.error_us - bias[notes.player], notes.run, notes.player, spread)
    return PlayerErrors(
        bias, bias - margin, bias + margin, spread, lapses, strays, hit, runs, count.astype(int), correlation
    )


def bias_and_spread(error_us: Array, group: Array, groups: int) -> tuple[Array, Array]:
    """(median, spread from the quartiles) of the errors of each group; NaN for a group without any."""
    middle = group_medians(group, error_us, groups)
    distance = group_medians(group, np.abs(error_us - middle[group]), groups)
    return middle, distance / _QUARTILE


def bias_margin(error_us: Array, run: Array, player: Array, spread_us: Array, level: float = LEVEL) -> Array:
    """(players,) margin of error of each player's median, in microseconds, with the player's runs as clusters.

    error_us, run, player: (n,) errors around the player's own median, NaN where there was no press; spread_us:
    (players,). A player is early today and late tomorrow: notes of one run are no independent looks at the bias. The
    linearised variance of a median (Woodruff 1952, J. Am. Stat. Assoc. 47:635-646), its density at the middle that of
    a normal sample; what is beyond the median and what is not is summed over a run before it is squared; t with the
    effective number of runs less one. NaN for a player with presses in one run only.
    """
    margin = np.full(spread_us.size, np.nan)
    known = ~np.isnan(error_us)
    for who in np.unique(player[known]):
        mine = known & (player == who)
        side, presses = sums(run[mine], np.sign(error_us[mine]), np.ones(int(mine.sum())))
        runs = presses.size
        if runs > 1:
            error = np.sqrt(np.pi / 2 * runs / (runs - 1) * np.sum(side**2)) * spread_us[who] / presses.sum()
            margin[who] = critical_by_player(presses, level) * error
    return margin


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
