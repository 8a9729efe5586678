"""Was a death the player's to avoid? What can be told from times and places alone."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

Array = np.ndarray

# A start within 100 ms of the gun counts as a false start in athletics, because nobody reacts that fast:
# World Athletics Technical Rules, rule 16 (from memory).
NOBODY_REACTS_MS = 100.0
# Mean simple reaction time to a visual signal of 1,469 people aged 18 to 65, as measured; 213 ms once the
# delays of their hardware are taken off: Woods et al. 2015, Front. Hum. Neurosci. 9:131 (figures from
# memory). Seeing, choosing a direction and moving take longer; a death with less warning than this was hardly
# the player's fault.
SIMPLE_REACTION_MS = 231.0


@dataclass(frozen=True)
class Notice:
    """How much notice deaths gave: numbers of deaths in bands of the killing shot's age."""

    nobody: int
    hardly: int
    enough: int


def notice_bands(age_ms: Array) -> Notice:
    """Deaths whose killing shot was younger than anybody reacts, than most react, and old enough.

    age_ms: (deaths,) from the shot to the death; NaN is left out.
    """
    age = np.asarray(age_ms, dtype=float)
    age = age[np.isfinite(age)]
    nobody = int(np.sum(age < NOBODY_REACTS_MS))
    hardly = int(np.sum((age >= NOBODY_REACTS_MS) & (age < SIMPLE_REACTION_MS)))
    return Notice(nobody, hardly, int(age.size) - nobody - hardly)


def repeated_place(run: Array, x: Array, y: Array, reach_px: float) -> Array:
    """Which deaths lie within `reach_px` of the same run's death before, (n,) bool; rows in order of time
    within a run.
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    again = np.zeros(x.size, bool)
    if x.size > 1:
        with np.errstate(invalid="ignore"):
            near = np.hypot(np.diff(x), np.diff(y)) <= reach_px
        again[1:] = near & (run[1:] == run[:-1])
    return again


def near_by_chance(run: Array, player: Array, part: Array, x: Array, y: Array, reach_px: float) -> Array:
    """(n,) the share of other players' deaths in the same part within `reach_px` of the same run's death before.

    run, player, part: (n,) labels; x, y: (n,) px; rows in order of time within a run. NaN for the first death of a run,
    and where a place or anybody else's death in the part is lacking. What `repeated_place` brings where players die at
    the places of that part as everybody does, and no more often where they died before.
    """
    x, y, run, player, part = np.asarray(x, float), np.asarray(y, float), *map(np.asarray, (run, player, part))
    share, before = np.full(x.size, np.nan), np.full((x.size, 2), np.nan)
    before[1:] = np.where((run[1:] == run[:-1])[:, None], np.column_stack([x, y])[:-1], np.nan)
    known = np.isfinite(x) & np.isfinite(y)
    follows = known & np.isfinite(before).all(axis=1)
    for one in np.unique(part[follows]):
        here = known & (part == one)
        every = cKDTree(np.column_stack([x, y])[here])
        for who in np.unique(player[follows & (part == one)]):
            mine, own = follows & (part == one) & (player == who), here & (player == who)
            others = int(here.sum() - own.sum())
            if others:
                all_near, own_near = (
                    tree.query_ball_point(before[mine], reach_px, return_length=True)
                    for tree in (every, cKDTree(np.column_stack([x, y])[own]))
                )
                share[mine] = (all_near - own_near) / others
    return share


def longest_repeat(again: Array) -> int:
    """The most deaths in a row at one place: one more than the longest stretch of True.

    again: (deaths,) in order, whether each was where the one before was; 0 without any death.
    """
    if not again.size:
        return 0
    stretch = longest = 0
    for repeated in again:
        stretch = stretch + 1 if repeated else 0
        longest = max(longest, stretch)
    return longest + 1


def path_px(x: Array, y: Array) -> float:
    """The length of the way through (n,) points in px, in order of time; 0 for one point or none."""
    return float(np.hypot(np.diff(np.asarray(x, float)), np.diff(np.asarray(y, float))).sum())
