"""Rows that belong together: sums by player, which every by-player interval starts from."""

import numpy as np

Array = np.ndarray


def numbered(player: Array) -> tuple[Array, Array]:
    """(players,) the distinct labels, sorted, and (n,) each row's number among them; player: (n,) labels."""
    labels, number = np.unique(np.asarray(player), return_inverse=True)
    return labels, number.reshape(-1)


def sums(player: Array, *columns: Array) -> tuple[Array, ...]:
    """(players,) the sums of each (n,) column by player, in the order of the sorted labels."""
    labels, number = numbered(player)
    return tuple(np.bincount(number, weights=np.asarray(c, dtype=float), minlength=labels.size) for c in columns)
