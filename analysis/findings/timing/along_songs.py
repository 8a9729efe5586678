"""Timing by song, passage, lane, density of notes and attempt: each compared within players."""

from collections.abc import Callable

import numpy as np

from analysis.finding import Finding
from analysis.findings.declared import Column, Declared, interval_columns
from analysis.findings.timing.window_in_force import Rested
from analysis.stats.estimate import LEVEL, Estimate
from analysis.stats.song_time import TEMPO_EDGES_MS, drift, passages, since_last_note_us
from analysis.stats.timed_notes import TimedNotes, hits
from analysis.stats.timing_errors import bias_and_spread
from analysis.stats.within_player import LevelEffects, level_effects, mean_of_players
from analysis.words import interval_name, percent, points

_HIT = (
    Column("notes", "", "notes that came due there"),
    Column("players", "", "players whose notes they are"),
    Column("hit", "share", "that the average player would hit"),
    *interval_columns("share", "its distance from the others", "hit_"),
)
_BIAS = (Column("bias_ms", "ms", "press less due"), *interval_columns("ms", "the bias", "bias_"))
_SPREAD = Column("spread_ms", "ms", "standard deviation of the errors there")
_LAPSES = Column("lapses", "share", "of the notes, those without a press")
_SONG = Column("song", "", "name of the song")
_WITHIN = "timing.within_player"
SONGS = Declared(
    "timing.songs",
    "timing",
    "How hard each song is",
    _WITHIN,
    {
        "songs": (
            _SONG,
            *_HIT,
            Column("p", "", "that it is hit as the average song, corrected for the number of songs"),
            *_BIAS,
            _SPREAD,
            _LAPSES,
            Column("rank", "", "1 is the hardest"),
        )
    },
)
PASSAGES = Declared(
    "timing.passages",
    "timing",
    "Along the song: where hits fall apart, where notes are off",
    _WITHIN,
    {
        "passages": (
            _SONG,
            Column("start_s", "s", "where the passage begins"),
            Column("end_s", "s", "where it ends"),
            *_HIT,
            *_BIAS,
            Column("p_bias", "", "that its bias is that of the song, corrected for the number of passages"),
            Column("p_hit", "", "that its share is that of the song, likewise"),
            Column("off", "", "1 where the bias is told from the rest of the song, by 5 ms or more"),
        )
    },
)
DRIFT = Declared(
    "timing.drift",
    "timing",
    "Drift against the song",
    "timing.drift",
    {
        "songs": (
            _SONG,
            Column("ppm", "ppm", "how fast errors grow along the song"),
            *interval_columns("ppm", "the drift"),
            Column("players", "", "players with presses enough"),
            Column("over_song_ms", "ms", "by its end"),
        )
    },
)
DENSITY = Declared(
    "timing.density",
    "timing",
    "Density of notes: speed against accuracy",
    _WITHIN,
    {
        "classes": (
            Column("from_ms", "ms", "shortest time since the note before"),
            Column("to_ms", "ms", "longest"),
            *_HIT,
            Column("bias_ms", "ms", "press less due"),
            _SPREAD,
            _LAPSES,
        )
    },
)
LANES = Declared(
    "timing.lanes",
    "timing",
    "Lanes and buttons",
    _WITHIN,
    {"lanes": (Column("lane", "", "number of the lane"), *_HIT, *_BIAS, _SPREAD)},
)
ATTEMPTS = Declared(
    "timing.attempts",
    "timing",
    "Learning over attempts",
    _WITHIN,
    {
        "attempts": (
            Column("attempt", "", "number of the attempt"),
            *_HIT,
            _SPREAD,
            *interval_columns("ms", "the spread", "spread_"),
        )
    },
)
# A passage is called off only from here on: less is beyond what anybody hears (asynchronies of a few ms are not
# noticed; common practice, no source) and within what a tick of the console costs.
OFF_MS = 5.0
_MOST_ATTEMPTS = 8


def find(notes: TimedNotes, warnings: tuple[str, ...]) -> list[Finding]:
    """Findings along and between songs; those that need two of something are left out where there is one."""
    makers: list[Callable[[TimedNotes, tuple[str, ...]], Finding | None]] = [
        _songs,
        _passages,
        _drift,
        _density,
        _lanes,
        _attempts,
    ]
    return [found for make in makers if (found := make(notes, warnings)) is not None]


def _songs(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding | None:
    songs = len(notes.songs)
    if songs < 2:
        return None
    effects, bias, spread, lapses = _compare(notes, notes.song, songs, None)
    rank = np.argsort(np.argsort(np.nan_to_num(effects.mean, nan=np.inf))) + 1
    hardest, easiest = int(np.argmin(rank)), int(np.argmax(rank))
    says = f"{notes.songs[hardest]} is hit least ({_percent(effects, hardest)} for the average player)"
    says += f" and {notes.songs[easiest]} most ({_percent(effects, easiest)})"
    told = [s for s in (hardest, easiest) if effects.p[s] < 0.05]
    if len(told) == 1:
        says += f"; only {notes.songs[told[0]]} is told from the average song"
    says += "." if told else ", but the order is within chance: players differ more than songs."
    tables = {
        "songs": {
            "song": list(notes.songs),
            **_hit_columns(effects),
            "p": effects.p,
            "bias_ms": bias.mean,
            "bias_low": bias.mean + bias.low - bias.effect,
            "bias_high": bias.mean + bias.high - bias.effect,
            "spread_ms": spread,
            "lapses": lapses,
            "rank": rank,
        }
    }
    return SONGS.finding(Rested(notes, warnings), says, tables=tables)


def _passages(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding | None:
    rows: dict[str, list[object]] = {}
    off: list[tuple[float, str]] = []
    worst: tuple[float, str] | None = None
    cut = [(song, *passages(notes, song)) for song in range(len(notes.songs))]
    cut = [(song, edges, number) for song, edges, number in cut if len(edges) > 2]
    for song, edges, number in cut:
        own, name, count = notes.where(number >= 0), notes.songs[song], len(edges) - 1
        hit, bias, _, _ = _compare(own, number[number >= 0], count, None)
        # Corrected within the song already; more songs are more passages to stand out by chance.
        p_hit, p_bias = (np.minimum(1, len(cut) * p) for p in (hit.p, bias.p))
        flagged = (p_bias < 0.05) & (np.abs(bias.effect) >= OFF_MS)
        columns = {
            "song": [name] * count,
            "start_s": edges[:-1] / 1e6,
            "end_s": edges[1:] / 1e6,
            **_hit_columns(hit),
            "bias_ms": bias.mean,
            "bias_low": bias.mean + bias.low - bias.effect,
            "bias_high": bias.mean + bias.high - bias.effect,
            "p_bias": p_bias,
            "p_hit": p_hit,
            "off": flagged.astype(int),
        }
        for column, values in columns.items():
            rows.setdefault(column, []).extend(list(values))
        for i in np.flatnonzero(flagged):
            where = f"{name} from {edges[i] / 1e6:.0f} to {edges[i + 1] / 1e6:.0f} s ({bias.effect[i]:+.0f} ms)"
            off.append((abs(float(bias.effect[i])), where))
        if np.isfinite(hit.effect).any():
            lowest = int(np.nanargmin(hit.effect))
            if p_hit[lowest] < 0.05 and (worst is None or hit.effect[lowest] < worst[0]):
                worst = (
                    float(hit.effect[lowest]),
                    f"{name} from {edges[lowest] / 1e6:.0f} to {edges[lowest + 1] / 1e6:.0f} s",
                )
    if not rows:
        return None
    says = (
        "No passage is told from the rest of its song by its timing."
        if not off
        else "Against the rest of their song, presses are shifted in "
        + "; ".join(w for _, w in sorted(off, reverse=True)[:4])
        + ". Presses that come early there mean notes written late, or the other way round: listen to the passage."
    )
    says += "" if worst is None else f" Hits fall apart most in {worst[1]} ({100 * worst[0]:+.0f} points)."
    tables = {"passages": rows}
    return PASSAGES.finding(Rested(notes, warnings), says, tables=tables)


def _drift(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding | None:
    found = [drift(notes, song) for song in range(len(notes.songs))]
    found = [d for d in found if d.ppm.value is not None]
    if not found:
        return None
    # Every song is looked at, so each has its part of the level only.
    held = [mean_of_players(d.own_ppm, 1 - (1 - LEVEL) / len(found)) for d in found]
    parts = [
        f"{notes.songs[d.song]} by {ppm.value:+.0f} ppm (between {ppm.low:+.0f} and {ppm.high:+.0f}), that is"
        f" {ppm.value * d.length_s / 1000:+.0f} ms by its end"
        for d, ppm in zip(found, held, strict=True)
        if ppm.value is not None and ppm.low is not None and ppm.high is not None and ppm.low * ppm.high > 0
    ]
    says = (
        "Errors do not drift along any song by more than chance."
        if not parts
        else "Errors drift along " + "; ".join(parts) + ". Plus means presses fall later and later: the chart's tempo"
        " runs ahead of the music, or the console's clock is fast; tiring players look the same."
    )
    table = {
        "song": [notes.songs[d.song] for d in found],
        "ppm": [d.ppm.value for d in found],
        "low": [d.ppm.low for d in found],
        "high": [d.ppm.high for d in found],
        "players": [d.ppm.players for d in found],
        "over_song_ms": [d.ppm.value * d.length_s / 1000 for d in found if d.ppm.value is not None],
    }
    tables = {"songs": table}
    return DRIFT.finding(Rested(notes, warnings), says, tables=tables)


def _density(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding | None:
    since = since_last_note_us(notes) / 1000
    edges = np.array(TEMPO_EDGES_MS)
    own = notes.where(~np.isnan(since))
    number = np.searchsorted(edges, since[~np.isnan(since)], side="right") - 1
    used = np.unique(number)
    if len(used) < 2:
        return None
    level = np.searchsorted(used, number)
    hit, bias, spread, lapses = _compare(own, level, len(used), own.player * len(own.songs) + own.song)
    fast, slow = 0, len(used) - 1
    change = hit.difference(fast, slow)
    says = (
        f"Notes that follow within {edges[used[fast] + 1]:.0f} ms are hit"
        f" {_points(change, 'less often', 'more often')} than those after {edges[used[slow]]:.0f} ms or more"
        f" (spread {spread[fast]:.0f} against {spread[slow]:.0f} ms, players and songs held fixed)."
    )
    tables = {
        "classes": {
            "from_ms": edges[used],
            "to_ms": edges[used + 1],
            **_hit_columns(hit),
            "bias_ms": bias.mean,
            "spread_ms": spread,
            "lapses": lapses,
        }
    }
    return DENSITY.finding(Rested(notes, warnings), says, tables=tables)


def _lanes(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding | None:
    lanes = np.unique(notes.lane)
    if len(lanes) < 2:
        return None
    level = np.searchsorted(lanes, notes.lane)
    hit, bias, spread, _ = _compare(notes, level, len(lanes), notes.player * len(notes.songs) + notes.song)
    worst = int(np.nanargmin(hit.effect))
    says = f"Lane {lanes[worst]} is hit least ({_percent(hit, worst)} for the average player)"
    says += "." if hit.p[worst] < 0.05 else ", within chance of the others."
    tables = {
        "lanes": {
            "lane": lanes,
            **_hit_columns(hit),
            "bias_ms": bias.mean,
            "bias_low": bias.mean + bias.low - bias.effect,
            "bias_high": bias.mean + bias.high - bias.effect,
            "spread_ms": spread,
        }
    }
    return LANES.finding(Rested(notes, warnings), says, tables=tables)


def _attempts(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding | None:
    attempt = np.minimum(notes.attempt, _MOST_ATTEMPTS)
    levels = np.unique(attempt)
    if len(levels) < 2:
        return None
    level, block = np.searchsorted(levels, attempt), notes.player * len(notes.songs) + notes.song
    # One window for all attempts, or a change of the build would look like learning.
    last = int(np.argmax(notes.run))
    same = hits(notes.judged_us, notes.early_us[last], notes.late_us[last])
    measured = np.isfinite(notes.early_us[last])
    hit = level_effects(
        same.astype(float) if measured else notes.pressed.astype(float), level, notes.player, len(levels), block
    )
    bias, _ = bias_and_spread(notes.error_us, notes.player, len(notes.players))
    # The mean distance of a normal error is sqrt(2/pi) of its spread.
    distance = np.abs(notes.error_us - bias[notes.player]) / 1000 / np.sqrt(2 / np.pi)
    spread = level_effects(distance, level, notes.player, len(levels), block)
    full = np.flatnonzero(hit.players >= hit.players.max() / 2)
    first, end = int(full[0]), int(full[-1])
    change = hit.difference(end, first)
    says = (
        f"From attempt {levels[first]} to {levels[end]} hits go from {_percent(hit, first)} to"
        f" {_percent(hit, end)}, {_points(change, 'fewer', 'more')}, and the spread from {spread.mean[first]:.0f} to"
        f" {spread.mean[end]:.0f} ms, songs and players held fixed; players who stopped earlier are in it only for the"
        " attempts they made."
    )
    if first == end:
        says = f"Hardly anybody made another attempt than number {levels[first]}, so nothing can be said of learning."
    tables = {
        "attempts": {
            "attempt": levels,
            **_hit_columns(hit),
            "spread_ms": spread.mean,
            "spread_low": spread.mean + spread.low - spread.effect,
            "spread_high": spread.mean + spread.high - spread.effect,
        }
    }
    estimate = None if first == end else change.in_unit("share")
    return ATTEMPTS.finding(Rested(notes, warnings), says, estimate, tables)


def _compare(
    notes: TimedNotes, level: np.ndarray, levels: int, block: np.ndarray | None
) -> tuple[LevelEffects, LevelEffects, np.ndarray, np.ndarray]:
    """(hit share, bias in ms, spread in ms, lapses) of each level, within players. Without a window, hit = pressed."""
    windowed = np.isfinite(notes.early_us).all()
    hit = level_effects((notes.hit if windowed else notes.pressed).astype(float), level, notes.player, levels, block)
    players = len(notes.players)
    # A few wild presses are pulled in to three spreads, or they would carry the means.
    middle, spread = bias_and_spread(notes.error_us, notes.player, players)
    clipped = np.clip(notes.error_us, (middle - 3 * spread)[notes.player], (middle + 3 * spread)[notes.player]) / 1000
    bias = level_effects(clipped, level, notes.player, levels, block)
    about_level = notes.error_us - middle[notes.player] - 1000 * np.nan_to_num(bias.effect)[level]
    own_spread = bias_and_spread(about_level, level, levels)[1] / 1000
    lapses = level_effects((~notes.pressed).astype(float), level, notes.player, levels, block).mean
    return hit, bias, own_spread, np.clip(lapses, 0, 1)


def _percent(hit: LevelEffects, level: int) -> str:
    # Effects are added up, which may lead a little below nothing or beyond all.
    return percent(float(np.clip(hit.mean[level], 0, 1)))


def _points(change: Estimate, fewer: str, more: str) -> str:
    """`12 points less often (interval 4 to 20)`: of the size of a change, and whether it may be chance."""
    value, low, high = change.value or 0.0, change.low, change.high
    size = f"{points(value, signed=False)} {fewer if value < 0 else more}"
    if low is None or high is None:
        return f"{size} (no interval: one player)"
    least, most = (-high, -low) if value < 0 else (low, high)
    chance = ", within chance" if low <= 0 <= high else ""
    return f"{size} ({interval_name(change.level)} {100 * least:.0f} to {100 * most:.0f}{chance})"


def _hit_columns(effects: LevelEffects) -> dict[str, np.ndarray]:
    shift = effects.mean - effects.effect
    return {
        "notes": effects.notes.astype(int),
        "players": effects.players,
        "hit": np.clip(effects.mean, 0, 1),
        "hit_low": np.clip(effects.low + shift, 0, 1),
        "hit_high": np.clip(effects.high + shift, 0, 1),
    }
