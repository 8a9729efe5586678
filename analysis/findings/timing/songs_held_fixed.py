"""Timing by density of notes, lane and attempt: each compared within players, songs held fixed."""

import numpy as np

from analysis.finding import Finding
from analysis.findings.declared import Column, Declared, estimate_columns
from analysis.findings.timing.levels import (
    BIAS,
    HIT,
    LAPSES,
    SPREAD,
    WITHIN_PLAYER,
    compare,
    held_fixed,
    hit_columns,
    mean_columns,
    percent_of,
    points_of,
)
from analysis.findings.timing.window_in_force import builds_apart, rests_on
from analysis.stats.players.within_player import level_effects, linked_levels
from analysis.stats.rhythm.song_time import TEMPO_EDGES_MS, since_last_note_us
from analysis.stats.rhythm.timed_notes import TimedNotes, hits
from analysis.stats.rhythm.timing_errors import bias_and_spread

DENSITY = Declared(
    "timing.density",
    "timing",
    "Density of notes: speed against accuracy",
    WITHIN_PLAYER,
    {
        "classes": (
            Column("from_ms", "ms", "shortest time since the note before"),
            Column("to_ms", "ms", "longest"),
            *HIT,
            Column("bias_ms", "ms", "press less due"),
            SPREAD,
            LAPSES,
        )
    },
)
LANES = Declared(
    "timing.lanes",
    "timing",
    "Lanes and buttons",
    WITHIN_PLAYER,
    {"lanes": (Column("lane", "", "number of the lane"), *HIT, *BIAS, SPREAD)},
)
ATTEMPTS = Declared(
    "timing.attempts",
    "timing",
    "Learning over attempts",
    WITHIN_PLAYER,
    {
        "attempts": (
            Column("attempt", "", "number of the attempt"),
            *HIT,
            *estimate_columns("spread_ms", "ms", "standard deviation of the errors there", "spread_"),
        )
    },
)
_MOST_ATTEMPTS = 8


def find(notes: TimedNotes, warnings: tuple[str, ...]) -> list[Finding]:
    """What compares two levels or more is left out where there is one."""
    makers = (_density, _lanes, _attempts)
    return [found for make in makers if (found := make(notes, warnings)) is not None]


def _density(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding | None:
    since = since_last_note_us(notes) / 1000
    edges = np.array(TEMPO_EDGES_MS)
    own = notes.where(~np.isnan(since))
    number = np.searchsorted(edges, since[~np.isnan(since)], side="right") - 1
    used = np.unique(number)
    if len(used) < 2:
        return None
    level = np.searchsorted(used, number)
    hit, bias, spread, lapses = compare(own, level, len(used), held_fixed(own))
    fast, slow = 0, len(used) - 1
    change = hit.difference(fast, slow)
    says = (
        f"Notes that follow within {edges[used[fast] + 1]:.0f} ms are hit"
        f" {points_of(change, 'less often', 'more often')} than those after {edges[used[slow]]:.0f} ms or more"
        f" (spread {spread[fast]:.0f} against {spread[slow]:.0f} ms, players and songs held fixed)."
    )
    tables = {
        "classes": {
            "from_ms": edges[used],
            "to_ms": edges[used + 1],
            **hit_columns(hit),
            "bias_ms": bias.mean,
            "spread_ms": spread,
            "lapses": lapses,
        }
    }
    return DENSITY.finding(rests_on(notes, warnings), says, tables=tables)


def _lanes(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding | None:
    lanes = np.unique(notes.lane)
    if len(lanes) < 2:
        return None
    level = np.searchsorted(lanes, notes.lane)
    hit, bias, spread, _ = compare(notes, level, len(lanes), held_fixed(notes))
    worst = int(np.nanargmin(hit.effect))
    says = f"Lane {lanes[worst]} is hit least ({percent_of(hit, worst)} for the average player)"
    says += "." if hit.p[worst] < 0.05 else ", within chance of the others."
    if np.ptp(hit.effect) < 1e-9:
        says = f"All lanes are hit alike ({percent_of(hit, worst)} for the average player)."
    tables = {
        "lanes": {"lane": lanes, **hit_columns(hit), **mean_columns(bias, "bias_ms", "bias_"), "spread_ms": spread}
    }
    return LANES.finding(rests_on(notes, warnings), says, tables=tables)


def _attempts(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding | None:
    attempt = np.minimum(notes.attempt, _MOST_ATTEMPTS)
    levels = np.unique(attempt)
    if len(levels) < 2:
        return None
    # Attempts that nobody made on one build and song can only be compared over builds, and are not.
    level = np.searchsorted(levels, attempt)
    linked = linked_levels(level, held_fixed(notes), len(levels))[level]
    notes, attempt = notes.where(linked), attempt[linked]
    levels = np.unique(attempt)
    level, block = np.searchsorted(levels, attempt), held_fixed(notes)
    # One window and offset for all attempts, or a change of the build would look like learning.
    last = int(np.argmax(notes.run))
    judged = notes.judged_us if len(builds_apart(notes)) == 1 else notes.error_us - notes.offset_us[last]
    same = hits(judged, notes.early_us[last], notes.late_us[last])
    measured = np.isfinite(notes.early_us[last])
    hit = level_effects(
        same.astype(float) if measured else notes.pressed.astype(float), level, notes.player, len(levels), block
    )
    hand = held_fixed(notes, songs=False)
    bias, _ = bias_and_spread(notes.error_us, hand, len(notes.players) * len(notes.builds))
    # The mean distance of a normal error is sqrt(2/pi) of its spread.
    distance = np.abs(notes.error_us - bias[hand]) / 1000 / np.sqrt(2 / np.pi)
    spread = level_effects(distance, level, notes.player, len(levels), block)
    full = np.flatnonzero(hit.players >= hit.players.max() / 2)
    first, end = int(full[0]), int(full[-1])
    change = hit.difference(end, first)
    on_each = " on each build" if len(np.unique(notes.build)) > 1 else ""
    says = (
        f"From attempt {levels[first]} to {levels[end]} hits go from {percent_of(hit, first)} to"
        f" {percent_of(hit, end)}, {points_of(change, 'fewer', 'more')}, and the spread from {spread.mean[first]:.0f}"
        f" to {spread.mean[end]:.0f} ms, songs and players held fixed{on_each}; players who stopped earlier are in"
        " it only for the attempts they made."
    )
    if first == end:
        says = f"Hardly anybody made another attempt than number {levels[first]}, so nothing can be said of learning."
    tables = {"attempts": {"attempt": levels, **hit_columns(hit), **mean_columns(spread, "spread_ms", "spread_")}}
    estimate = None if first == end else change.in_unit("share")
    return ATTEMPTS.finding(rests_on(notes, warnings), says, estimate, tables)
