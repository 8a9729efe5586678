"""The screen cut into cells: what the maps of deaths have in common."""

import numpy as np

from analysis.findings.declared import Column, estimate_columns
from analysis.reader import Columns
from analysis.stats.estimate import Estimate
from analysis.stats.places import Cells, HotSpots
from analysis.words import amount, cause_name, limits

Array = np.ndarray
# A cell is hot where chance alone would bring one like it, anywhere on the screen, in one playtest of twenty.
SIGNIFICANT = 0.05
CELL = (Column("x_px", "px", "left edge of the cell"), Column("y_px", "px", "upper edge of the cell"))
AREA = (*CELL, Column("width_px", "px", "its width"), Column("height_px", "px", "its height"))
# How far a cell stands out, with an interval that holds for the one that was picked as the strongest.
TIMES = (
    *estimate_columns(
        "times", "", "how many times as many deaths as expected, drawn to what most cells have", "times_"
    ),
)
SCREEN = (
    Column("screen_width", "px", "width of the screen"),
    Column("screen_height", "px", "height of the screen"),
    Column("cell_px", "px", "side of a cell; at the right and lower edge of the screen they may be smaller"),
)


def is_hot(spots: HotSpots) -> Array:
    """(cells,) bool."""
    return np.asarray((spots.p <= SIGNIFICANT) & (spots.players >= 2))


def times_columns(spots: HotSpots) -> dict[str, Array]:
    """What stands in `TIMES`."""
    return {"times": spots.times.value, "times_low": spots.times.low, "times_high": spots.times.high}


def times_words(spots: HotSpots, cell: int, among: str) -> str:
    """`9.1 times as many as ...`: how far a picked cell stands out; among: how many there were, in words."""
    value, low, high = (float(column[cell]) for column in times_columns(spots).values())
    if not np.isfinite(low):
        return f"{amount(value)} times as many as the time spent there explains"
    interval = limits(Estimate(value, low, high, unit="times"))
    return (
        f"{amount(value)} times as many as the time spent there explains "
        f"{interval[:-1]}; drawn to what most places have, for it was picked of {among})"
    )


def screen_facts(cells: Cells) -> dict[str, int]:
    """What stands in `SCREEN`."""
    return {"screen_width": cells.width, "screen_height": cells.height, "cell_px": cells.size}


def label_of(death: Columns, mine: Array) -> str:
    """What the cause of the deaths `mine` is called."""
    return cause_name(death["cause_label"][mine], death["cause"][mine][0])


def place_words(x: float, y: float, width: float, height: float) -> str:
    """`x 96 to 112, y 48 to 64`."""
    return f"x {x:.0f} to {x + width:.0f}, y {y:.0f} to {y + height:.0f}"


def screen_side(cells: Cells, cell: int) -> str:
    """`at the lower right`, `in the middle`: in which third of the screen a cell lies, across and down."""
    area = cells.areas()
    across = (area["x_px"][cell] + area["width_px"][cell] / 2) / cells.width
    down = (area["y_px"][cell] + area["height_px"][cell] / 2) / cells.height
    side = ("left", "", "right")[min(int(3 * across), 2)]
    if not side:
        return ("at the top", "in the middle", "at the bottom")[min(int(3 * down), 2)]
    return f"at the {('upper ', '', 'lower ')[min(int(3 * down), 2)]}{side}"
