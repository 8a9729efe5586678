"""Builds compared by permuting players: what the difference would be if the builds were one and the same."""

import itertools

import numpy as np

Array = np.ndarray
# Below this many arrangements all of them are tried and the p-value is exact.
_ALL = 1024


def arrangements(only_a: int, only_b: int, both: int, most: int, rng: np.random.Generator) -> tuple[Array, bool]:
    """Assignments of players to build A under "no difference", and whether these are all there are.

    Players seen with one build only are shuffled among the builds keeping the numbers; players seen with both
    have their two builds swapped or not. Rows: (arrangements, only_a + only_b + both), 1 where what was
    played first-named counts as A. Columns: the players with only A, those with only B, those with both. The
    first row is what happened.
    """
    single = only_a + only_b
    here = np.r_[np.ones(only_a), np.zeros(only_b), np.ones(both)]
    count = _choose(single, only_a) * 2**both
    if count <= _ALL:
        groups = np.zeros((count >> both, single))
        for row, chosen in zip(groups, itertools.combinations(range(single), only_a), strict=True):
            row[list(chosen)] = 1
        swaps = np.array(list(itertools.product((1.0, 0.0), repeat=both))).reshape(2**both, both)
        table = np.hstack([np.repeat(groups, len(swaps), axis=0), np.tile(swaps, (len(groups), 1))])
        return np.vstack([here, table]), True
    table = np.empty((most, single + both))
    base = here[:single]
    for row in table:
        row[:single] = rng.permutation(base)
    table[:, single:] = rng.integers(0, 2, size=(most, both))
    return np.vstack([here, table]), False


def p_value(statistic: Array, complete: bool) -> float:
    """Two-sided p of the first of `statistic` among the others: Phipson & Smyth 2010, Stat. Appl. Genet. Mol.
    Biol. 9:39.

    statistic: (1 + arrangements,), the first what was observed. With all arrangements listed the observed one
    is among them, otherwise it is counted in.
    """
    size = np.abs(statistic)
    # 1e-9: arrangements that tie with the observed one but for rounding are as extreme as it.
    extreme = int(np.sum(size[1:] >= size[0] * (1 - 1e-9)))
    return extreme / (size.size - 1) if complete else (extreme + 1) / size.size


def _choose(n: int, k: int) -> int:
    value = 1
    for i in range(min(k, n - k)):
        value = value * (n - i) // (i + 1)
    return value
