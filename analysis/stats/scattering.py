"""Points that fall on cells by chance, very many times: the simulated playtests that places are compared with."""

import numpy as np

Array = np.ndarray
# The unit interval in equal parts: one for each number of 16 random bits.
_PARTS = 1 << 16
# With more points to a cell than this, one binomial draw for each cell is cheaper than one draw for each point.
_MOST_TO_A_CELL = 10
_AT_ONCE = 1 << 17  # points, so that they stay in the processor's cache


def scattered(rng: np.random.Generator, points: int, chance: Array, times: int) -> Array:
    """(times, cells) counts: each time, `points` points fall on the cells with these chances, which sum to 1.

    The multinomial distribution, exactly: the cells share the unit interval out among them. Most of its 65,536 parts
    lie within one cell, which a table knows; a point in one of the others is placed within the part by a second draw.
    (A table for most, a search for the rest: Marsaglia 1963, Communications of the ACM 6:37-38; from memory.)
    """
    cells = chance.size
    if points == 0 or points > _MOST_TO_A_CELL * cells:
        return rng.multinomial(points, chance, size=times)
    ends = np.cumsum(chance)
    borders = np.minimum(ends[:-1] * (_PARTS / ends[-1]), _PARTS)
    whole = np.floor(borders).astype(int)
    # The cell that each part lies in, and -1 where a part holds a border.
    cell_of = np.repeat(np.arange(cells), np.diff(whole, prepend=0, append=_PARTS))
    cell_of[whole[whole < borders]] = -1
    counts = np.empty((times, cells), int)
    step = max(1, min(times, _AT_ONCE // points))
    row = np.repeat(np.arange(step) * cells, points)
    for first in range(0, times, step):
        some = counts[first : first + step]
        part = rng.integers(0, _PARTS, some.shape[0] * points, dtype=np.uint16)
        cell = cell_of[part]
        open_ = np.flatnonzero(cell < 0)
        cell[open_] = np.searchsorted(borders, part[open_] + rng.random(open_.size), side="right")
        cell += row[: cell.size]
        some[:] = np.bincount(cell, minlength=some.size).reshape(some.shape)
    return counts
