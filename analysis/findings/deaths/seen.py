"""What the maps of deaths are made of, and the one scale of their colours."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.places import Cells, cell_counts, smooth_rate

Array = np.ndarray
_LONGEST_US = 1_000_000
_MANY_DEATHS = 300
# Cells. Wider, and a deadly cell gives its colour to neighbours in which nobody spends time.
BANDWIDTH = 0.5
# Where a scale may end, times a power of ten.
_ROUND = (1, 1.5, 2, 3, 4, 5, 6, 8, 10)


@dataclass(frozen=True)
class Seen:
    """What the maps are made of. placed: the deaths that have a place; spent: time by player, stage and cell."""

    cells: Cells
    placed: Columns
    spent: Columns

    @cached_property
    def labels(self) -> Array:
        """The players, sorted: those who never died have spent their time there all the same."""
        return np.union1d(self.placed["player"], self.spent["player"])

    def counts(self, mine: Array) -> Array:
        """(players, cells) deaths among `mine`, which is (deaths,) bool."""
        x, y, player = self.placed["x"][mine], self.placed["y"][mine], self.placed["player"][mine]
        return cell_counts(self.cells, x, y, player.astype(str), self.labels)

    def time(self, mine: Array) -> Array:
        """(players, cells) seconds of the rows `mine` of `spent`."""
        spent = self.spent.where(mine)
        time = np.zeros((self.labels.size, self.cells.columns * self.cells.rows))
        row = np.searchsorted(self.labels, spent["player"])
        cell = (spent["cell_row"] * self.cells.columns + spent["cell_column"]).astype(int)
        np.add.at(time, (row, cell), spent["seconds"])
        return time


def read_seen(reader: Reader, selection: Selection, death: Columns) -> Seen:
    """The screen's cells, the deaths among `death` that have a place, and the time the chosen runs spent."""
    screen = reader.ask_chosen("screen", selection)
    width, height = int(screen["width"][0]), int(screen["height"][0])
    known = np.isfinite(death["x"]) & np.isfinite(death["y"])
    placed = death.where(known)
    # About eight or sixteen cells along the short side: fewer than three deaths a cell on average say little.
    parts = 8 if placed["x"].size < _MANY_DEATHS else 16
    cells = Cells(width, height, max(1, min(width, height) // parts))
    spent = reader.ask_chosen(
        "time_by_cell", selection, cell=cells.size, columns=cells.columns, rows=cells.rows, longest_us=_LONGEST_US
    )
    return Seen(cells, placed, spent)


def highest_per_min(reader: Reader, game: str) -> float | None:
    """Deaths a minute: the highest smoothed rate anywhere in all runs of a game, of the makers too, rounded up.

    So that a colour means the same whatever is chosen; a part of the runs may go beyond. None without positions.
    """
    every = Selection(game=game, include_team=True)
    seen = read_seen(reader, every, reader.ask_chosen("deaths", every))
    deaths = seen.counts(np.ones(seen.placed["x"].size, bool)).sum(axis=0)
    time = seen.time(np.ones(seen.spent["player"].size, bool)).sum(axis=0)
    if not time.any():
        return None
    rate = 60 * smooth_rate(deaths, time, seen.cells, BANDWIDTH * seen.cells.size)
    return rounded_up(float(np.nanmax(rate, initial=0.0)))


def rounded_up(most: float) -> float:
    """The next round number: 10.2 -> 15, 0.31 -> 0.4; 1 for nothing."""
    if not most > 0:
        return 1.0
    power = 10.0 ** np.floor(np.log10(most))
    return float(next(power * step for step in _ROUND if power * step >= most * (1 - 1e-9)))
