"""Where on the screen things happen: counts and time by cell, rates, and which cells are hotter than
chance.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from analysis.stats.estimate import LEVEL
from analysis.stats.laws import chi2_quantile, poisson_above
from analysis.stats.picked import Ratios, drawn_ratios
from analysis.stats.scattering import scattered

Array = np.ndarray


@dataclass(frozen=True)
class Cells:
    """A screen cut into square cells; row 0 is the top. The last column and row may be narrower than
    `size`.
    """

    width: int
    height: int
    size: int

    @property
    def columns(self) -> int:
        return -(-self.width // self.size)

    @property
    def rows(self) -> int:
        return -(-self.height // self.size)

    def number(self, x: Array, y: Array) -> Array:
        """The cell of each point, counted along the rows; points off the screen go to the nearest cell."""
        column = np.clip(np.floor_divide(np.asarray(x), self.size), 0, self.columns - 1).astype(int)
        row = np.clip(np.floor_divide(np.asarray(y), self.size), 0, self.rows - 1).astype(int)
        return row * self.columns + column

    @property
    def left(self) -> Array:
        """Left edge of each cell, pixels."""
        return np.tile(np.arange(self.columns) * self.size, self.rows)

    @property
    def top(self) -> Array:
        """Upper edge of each cell, pixels."""
        return np.repeat(np.arange(self.rows) * self.size, self.columns)

    def areas(self) -> dict[str, Array]:
        """Of each cell x_px, y_px (left and upper edge), width_px and height_px."""
        left, top = self.left, self.top
        return {
            "x_px": left,
            "y_px": top,
            "width_px": np.minimum(self.size, self.width - left),
            "height_px": np.minimum(self.size, self.height - top),
        }


def cell_counts(cells: Cells, x: Array, y: Array, player: Array, labels: Array) -> Array:
    """(players, cells) counts of points by player, in the order of the sorted `labels`, which hold every player."""
    table = np.zeros((labels.size, cells.columns * cells.rows))
    np.add.at(table, (np.searchsorted(labels, player), cells.number(x, y)), 1.0)
    return table


@dataclass(frozen=True)
class HotSpots:
    """Per cell: deaths to be expected, players who died there and how many would be expected, a score, the
    corrected p.

    `p` is the chance that, were deaths spread as each player's time was, *any* cell stood out as much as this
    one. `times` is how many times as many deaths as expected come there, drawn to what most cells have, so that it
    holds for the cell that stands out most too.
    """

    expected: Array
    players: Array
    expected_players: Array
    score: Array
    p: Array
    times: Ratios


def hot_spots(deaths: Array, exposure: Array, simulations: int = 999, seed: int = 1) -> HotSpots:
    """Cells in which players died more often than their own time there explains, corrected for the many
    cells.

    deaths, exposure: (players, cells) counts and seconds, or any weights that are proportional to chance.
    Null hypothesis: each player's deaths fall on cells in proportion to that player's own exposure. Of one
    player's deaths in a cell no more than twice the expected number and one are counted, so that no single
    player's stubbornness makes a hot spot. The correction compares each cell with the largest score of any
    cell in simulated playtests (single-step max-T: Westfall & Young 1993, Resampling-Based Multiple Testing).
    A cell in which a player died without any exposure counts as exposed for the least time seen anywhere.
    """
    return hot_spots_of_parts([deaths], [exposure], simulations, seed)[0]


def hot_spots_of_parts(
    deaths: Sequence[Array], exposure: Sequence[Array], simulations: int = 999, seed: int = 1
) -> list[HotSpots]:
    """`hot_spots` for deaths taken apart, such as by cause or by stage: one p for all cells of all parts.

    deaths[i], exposure[i]: (players, cells) of part i, as for `hot_spots`. A cell of a part is compared with the
    largest score that any cell of any part has in simulated playtests, so that looking at more parts does not
    find more by chance.
    """
    rng = np.random.default_rng(seed)
    told = [_who_died(d, e) for d, e in zip(deaths, exposure, strict=True)]
    parts = [_simulated(died, by_player, simulations, rng) for died, by_player in told]
    largest = np.max([found for _, found in parts], axis=0) if parts else np.zeros(simulations)
    times = drawn_ratios([died for died, _ in told], [by_player for _, by_player in told]) if told else []
    # 1e-9: a simulated score that equals the observed one counts as reached.
    return [
        replace(spots, p=(1 + (largest >= spots.score[:, None] - 1e-9).sum(axis=1)) / (simulations + 1), times=own)
        for (spots, _), own in zip(parts, times, strict=True)
    ]


def _who_died(deaths: Array, exposure: Array) -> tuple[Array, Array]:
    """(players, cells) deaths, and deaths to be expected, of the players who died at all."""
    deaths = np.asarray(deaths, dtype=float)
    exposure = np.asarray(exposure, dtype=float)
    least = exposure[exposure > 0].min() if np.any(exposure > 0) else 1.0
    exposure = np.where((exposure <= 0) & (deaths > 0), least, exposure)
    died = deaths.sum(axis=1)
    exposure, deaths, died = exposure[died > 0], deaths[died > 0], died[died > 0]
    return deaths, exposure / exposure.sum(axis=1, keepdims=True) * died[:, None]


def _simulated(deaths: Array, by_player: Array, simulations: int, rng: np.random.Generator) -> tuple[HotSpots, Array]:
    """One part without its p and times, and the largest score of any cell in each simulated playtest."""
    nothing = np.zeros(by_player.shape[1])
    unknown = Ratios(nothing, nothing, nothing)
    died = deaths.sum(axis=1).astype(int)
    if not died.size:
        return HotSpots(nothing, nothing.astype(int), nothing, nothing, nothing + 1, unknown), np.zeros(simulations)
    chance = by_player / died[:, None]
    most = np.ceil(2 * by_player) + 1
    own = np.minimum(deaths, most).sum(axis=0).astype(int)
    count = np.zeros((simulations, own.size), int)
    for n, p, cap in zip(died, chance, most.astype(int), strict=True):
        count += np.minimum(scattered(rng, int(n), p, simulations), cap)
    # Score of k deaths in a cell: -log10 of the Poisson chance of at least k. Unlike a standard score it does
    # not put cells that are hardly ever visited at the top. It is only a score: the simulation gives the
    # p-value.
    expected = by_player.sum(axis=0)
    number = np.arange(max(int(count.max()), int(own.max())) + 1)[:, None]
    score = -np.log10(np.maximum(poisson_above(number - 1, expected), 1e-300))
    every = np.arange(own.size)
    largest, reached = score[count, every].max(axis=1), score[own, every]
    once = (1 - (1 - chance) ** died[:, None]).sum(axis=0)
    return HotSpots(expected, (deaths > 0).sum(axis=0), once, reached, np.ones(own.size), unknown), largest


# Where less than half a death would be expected around a cell, one death more or less would paint it.
_LEAST_EXPECTED = 0.5
# Every cell's surroundings count as if so many deaths had been expected there beside, and had come. Without them the
# darkest cells of a map are those beside the real ones in which nobody spends time: in playtests drawn with one place
# seven times as deadly as the rest, the darkest cell had less than a tenth of an expected death of its own in 7 of 8;
# with two, in 1 of 200.
_SHRINK = 2.0


def smooth_rate(deaths: Array, exposure: Array, cells: Cells, bandwidth_px: float) -> Array:
    """Deaths per second around each cell, weighted by a Gaussian kernel and drawn towards the rate of the whole screen
    the more, the fewer deaths would be expected there at that rate.

    NaN where nobody was seen and nobody died, and where hardly any time was spent around: so little that less than half
    a death would be expected. deaths, exposure: (cells,). The ratio of two kernel estimates: Bithell 1990, Stat. Med.
    9:691-701; drawn towards the whole as the mean of a gamma posterior: Clayton & Kaldor 1987, Biometrics 43:671-681,
    with a fixed weight of `_SHRINK` expected deaths.
    """
    sigma = bandwidth_px / cells.size
    shape = (cells.rows, cells.columns)
    above = ndimage.gaussian_filter(np.reshape(deaths, shape).astype(float), sigma, mode="constant")
    below = ndimage.gaussian_filter(np.reshape(exposure, shape).astype(float), sigma, mode="constant")
    total = float(np.sum(exposure))
    overall = float(np.sum(deaths)) / total if total > 0 else 0.0
    # The kernel's weights sum to 1; a sum so weighted holds as much as 1 / (sum of their squares) cells.
    middle = np.zeros(2 * max(1, round(4 * sigma)) + 1)
    middle[middle.size // 2] = 1.0
    worth = 1.0 / float(np.sum(ndimage.gaussian_filter1d(middle, sigma, mode="constant") ** 2)) ** 2
    expected = worth * below * overall
    seen = (np.reshape(exposure, shape) > 0) | (np.reshape(deaths, shape) > 0)
    shrunk = overall * (worth * above + _SHRINK) / (expected + _SHRINK)
    return np.where(seen & (expected >= _LEAST_EXPECTED), shrunk, np.nan).ravel()


def rate_limits(events: Array, exposure: Array) -> tuple[Array, Array]:
    """Garwood's Poisson limits of events / exposure cell by cell: for the eye, before any correction for many cells.

    events, exposure: (cells,); the limits in events per unit of exposure, NaN where there is none. Garwood 1936,
    Biometrika 28:437-442.
    """
    events, exposure = np.asarray(events, float), np.asarray(exposure, float)
    tail = (1 - LEVEL) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        low = np.where(events > 0, chi2_quantile(tail, 2 * np.maximum(events, 1)) / 2, 0.0) / exposure
        high = chi2_quantile(1 - tail, 2 * events + 2) / 2 / exposure
    return np.where(exposure > 0, low, np.nan), np.where(exposure > 0, high, np.nan)
