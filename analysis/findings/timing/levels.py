"""What findings on levels - songs, passages, lanes, attempts - share: each level compared within players."""

import numpy as np

from analysis.findings.declared import Column, estimate_columns
from analysis.stats.estimate import Estimate
from analysis.stats.players.within_player import LevelEffects, level_effects
from analysis.stats.rhythm.timed_notes import TimedNotes
from analysis.stats.rhythm.timing_errors import bias_and_spread
from analysis.words import interval_name, percent, points

HIT = (
    Column("notes", "", "notes that came due there"),
    Column("players", "", "players whose notes they are"),
    *estimate_columns(
        "hit", "share", "that the average player would hit; limits of the distance from the others", "hit_"
    ),
)
BIAS = estimate_columns("bias_ms", "ms", "press less due", "bias_")
SPREAD = Column("spread_ms", "ms", "standard deviation of the errors there")
LAPSES = Column("lapses", "share", "of the notes, those without a press")
SONG = Column("song", "", "name of the song")
WITHIN_PLAYER = "timing.within_player"


def held_fixed(notes: TimedNotes, songs: bool = True) -> np.ndarray:
    """(n,) numbers of what is held fixed: player and build, and with `songs` the song."""
    own = notes.player * len(notes.builds) + notes.build
    return own * len(notes.songs) + notes.song if songs else own


def compare(
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


def percent_of(hit: LevelEffects, level: int) -> str:
    """The share of a level in words."""
    # Effects are added up, which may lead a little below nothing or beyond all.
    return percent(float(np.clip(hit.mean[level], 0, 1)))


def points_of(change: Estimate, fewer: str, more: str) -> str:
    """`12 points less often (interval 4 to 20)`: of the size of a change, and whether it may be chance."""
    value, low, high = change.value or 0.0, change.low, change.high
    size = f"{points(value, signed=False)} {fewer if value < 0 else more}"
    if low is None or high is None:
        return f"{size} (no interval: one player)"
    least, most = (-high, -low) if value < 0 else (low, high)
    chance = ", within chance" if low <= 0 <= high else ""
    return f"{size} ({interval_name(change.level)} {100 * least:.0f} to {100 * most:.0f}{chance})"


def mean_columns(effects: LevelEffects, name: str, prefix: str) -> dict[str, np.ndarray]:
    """The mean of each level in the column `name`, its limits in columns whose names begin with `prefix`."""
    shift = effects.mean - effects.effect
    return {name: effects.mean, f"{prefix}low": effects.low + shift, f"{prefix}high": effects.high + shift}


def hit_columns(effects: LevelEffects) -> dict[str, np.ndarray]:
    """The columns of HIT; shares that effects lead beyond nothing or all are taken back there."""
    shares = mean_columns(effects, "hit", "hit_")
    return {
        "notes": effects.notes.astype(int),
        "players": effects.players,
        **{name: np.clip(column, 0, 1) for name, column in shares.items()},
    }
