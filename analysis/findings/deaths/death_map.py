"""Where on the screen players die. Called by deaths.py.

deaths.places           see deaths.py.
deaths.places_by_cause  cells: cause, label, x_px, y_px, width_px, height_px, deaths, players, expected_deaths, score, p
                        (corrected for all cells of all causes), hot; the cells in which anybody died of it.
                        parts: cause, label, deaths, players, hot_cells, strongest_x_px, strongest_y_px, p.
deaths.places_by_stage  the same with stage, stage_kind and name in place of cause and label.
                        Both only where positions are logged. facts: screen_width, screen_height, cell_px.
A cause is held against the time spent in those parts of the game in which it killed at all.
"""

from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.stats.places import (
    Cells,
    HotSpots,
    cell_counts,
    getis_ord_star,
    hot_spots,
    hot_spots_of_parts,
    rate_limits,
    smooth_rate,
)
from analysis.stats.proportions import share_by_player
from analysis.words import amount, cause_name, counted, limits, percent, stage_name

Array = np.ndarray
# A cell is hot where chance alone would bring one like it, anywhere on the screen, in one playtest of twenty.
SIGNIFICANT = 0.05
_LONGEST_US = 1_000_000
_MANY_DEATHS = 300
# Cells. Wider, and a deadly cell gives its colour to neighbours in which nobody spends time.
_BANDWIDTH = 0.5


def find(reader: Reader, selection: Selection, death: Columns, basis: Basis) -> list[Finding]:
    """The map of deaths that have a place (one must have), then causes and stages apart."""
    screen = reader.ask_chosen("screen", selection)
    width, height = int(screen["width"][0]), int(screen["height"][0])
    placed = {
        name: column[np.isfinite(death["x"]) & np.isfinite(death["y"])] for name, column in death.items()
    }
    # About eight or sixteen cells along the short side: fewer than three deaths a cell on average say little.
    parts = 8 if placed["x"].size < _MANY_DEATHS else 16
    cells = Cells(width, height, max(1, min(width, height) // parts))
    spent = reader.ask_chosen(
        "time_by_cell",
        selection,
        cell=cells.size,
        columns=cells.columns,
        rows=cells.rows,
        longest_us=_LONGEST_US,
    )
    # Players who never died have spent their time there all the same.
    labels = np.union1d(placed["player"].astype(str), spent["player"].astype(str))
    count = cell_counts(cells, placed["x"], placed["y"], placed["player"].astype(str), labels)
    time = _time_by_cell(spent, cells, labels)
    exposed = bool(time.sum() > 0)
    whole = _places(placed, int(death["x"].size - placed["x"].size), cells, labels, count, time, basis)
    return [whole, *(_parts(placed, spent, cells, labels, basis) if exposed else [])]


def _places(
    placed: Columns, missing: int, cells: Cells, labels: Array, count: Array, time: Array, basis: Basis
) -> Finding:
    exposed = bool(time.sum() > 0)
    # Without positions nothing says where players were: every cell somebody died in is as likely as another.
    hot = hot_spots(count, time if exposed else np.tile(count.sum(axis=0) > 0, (labels.size, 1)))
    table = _cell_table(cells, count, time if exposed else np.full_like(time, np.nan), hot)
    is_hot = np.asarray(table["hot"], bool)
    # Without positions the busiest place is shown, which is no verdict on it.
    here = count[:, is_hot if exposed else [int(np.argmax(count.sum(axis=0)))]].sum(axis=1)
    share = share_by_player(here, count.sum(axis=1), labels)
    estimate = share
    warnings = list(basis.warnings)
    if not exposed:
        warnings.append(
            "No positions are logged, so a dangerous place cannot be told from a busy one: log a `position` event "
            "a few times a second."
        )
    if missing:
        warnings.append(f"{counted(missing, 'death')} without a place.")
    return Finding(
        id="deaths.places", question="deaths", title="Where players die",
        sentence=_places_sentence(placed, table, hot, is_hot, estimate, exposed), players=basis.players,
        runs=basis.runs, method="hot_spots", estimate=estimate, warnings=tuple(warnings),
        tables={"cells": table, "deaths": _death_table(placed), "by_cause": _by_cause(cells, placed)},
        facts={"screen_width": cells.width, "screen_height": cells.height, "cell_px": cells.size, "exposure": exposed,
               "hot_cells": int(is_hot.sum())},
    )  # fmt: skip


def _time_by_cell(spent: Columns, cells: Cells, labels: Array) -> Array:
    """(players, cells) seconds, in the order of `labels`, which must hold every player."""
    time = np.zeros((labels.size, cells.columns * cells.rows))
    row = np.searchsorted(labels, spent["player"].astype(str))
    cell = (spent["cell_row"] * cells.columns + spent["cell_column"]).astype(int)
    np.add.at(time, (row, cell), spent["seconds"])
    return time


def _cell_table(cells: Cells, count: np.ndarray, time: np.ndarray, hot: HotSpots) -> dict[str, np.ndarray]:
    deaths, seconds = count.sum(axis=0), time.sum(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = np.where(seconds > 0, deaths / seconds, np.nan)
        low, high = rate_limits(deaths, seconds)
    known = np.isfinite(seconds).all()
    weight = seconds if known else np.ones_like(deaths)
    return {
        "x_px": cells.left,
        "y_px": cells.top,
        "width_px": np.minimum(cells.size, cells.width - cells.left),
        "height_px": np.minimum(cells.size, cells.height - cells.top),
        "deaths": deaths.astype(int),
        "players": hot.players,
        "seconds": seconds,
        "rate_per_s": rate,
        "rate_low": low,
        "rate_high": high,
        "smooth_rate": smooth_rate(deaths, weight, cells, _BANDWIDTH * cells.size),
        "g_star": getis_ord_star(deaths, cells.neighbours),
        "expected_deaths": hot.expected,
        "expected_players": hot.expected_players,
        "score": hot.score,
        "p": hot.p if known else np.full(hot.p.size, np.nan),
        "hot": (hot.p <= SIGNIFICANT) & (hot.players >= 2) & known,
    }


def _death_table(death: Columns) -> dict[str, np.ndarray]:
    names = ("life_id", "run_id", "player", "stage", "stage_kind", "cause", "cause_label", "x", "y")
    return {name: death[name] for name in names} | {"alive_s": death["alive_us"] / 1e6}


def _by_cause(cells: Cells, death: Columns) -> dict[str, list[Any]]:
    """Deaths of each cause in each cell that has any."""
    rows: dict[str, list[Any]] = {name: [] for name in ("cause", "label", "x_px", "y_px", "deaths")}
    cell, cause = cells.number(death["x"], death["y"]), death["cause"].astype(float)
    for value in np.unique(cause[np.isfinite(cause)]):
        mine = cause == value
        label = _label(death, mine)
        for number, deaths in zip(*np.unique(cell[mine], return_counts=True), strict=True):
            row = (int(value), label, int(cells.left[number]), int(cells.top[number]), int(deaths))
            for name, item in zip(rows, row, strict=True):
                rows[name].append(item)
    return rows


def _places_sentence(
    death: Columns,
    table: dict[str, np.ndarray],
    hot: HotSpots,
    is_hot: np.ndarray,
    estimate: Estimate,
    exposed: bool,
) -> str:
    total = counted(int(death["x"].size), "death")

    def place(cell: int) -> str:
        x, y = int(table["x_px"][cell]), int(table["y_px"][cell])
        return f"x {x} to {x + int(table['width_px'][cell])}, y {y} to {y + int(table['height_px'][cell])}"

    def seen(cell: int) -> str:
        took, wanted = int(table["deaths"][cell]), amount(float(hot.expected[cell]))
        return f"{place(cell)}, took {took} where {wanted} would be expected from the time spent there"

    if not is_hot.any() and exposed:
        most = int(np.argmax(hot.score))
        return (
            f"No place stands out beyond chance among {total}, given where players were; the most suspicious, "
            f"{seen(most)} (p = {hot.p[most]:.2f}, corrected for all cells)."
        )
    if not is_hot.any():
        most = int(np.argmax(table["deaths"]))
        return (
            f"{int(table['deaths'][most])} of {total} were at {place(most)} {limits(estimate)}, more than anywhere; "
            "whether that place is dangerous or only busy the log does not say."
        )
    top = int(np.argmax(np.where(is_hot, hot.score, -np.inf)))
    return (
        f"{counted(int(is_hot.sum()), 'hot place')} on the screen took {percent(estimate.value)} of {total} "
        f"{limits(estimate)}; the strongest, {seen(top)}, in {counted(int(hot.players[top]), 'player')} "
        f"(p = {hot.p[top]:.3f}, corrected for all cells)."
    )


def _parts(placed: Columns, spent: Columns, cells: Cells, labels: Array, basis: Basis) -> list[Finding]:
    """The hot-spot test by cause and by stage, each where there are two or more of them."""
    here, then = _segment(placed), _segment(spent)
    cause = placed["cause"].astype(float)
    causes, stages = np.unique(cause[np.isfinite(cause)]), np.unique(here[np.isfinite(here)])
    found = []
    if causes.size > 1:
        masks = [(cause == value, _among(then, here[cause == value])) for value in causes]
        heads = [
            {"cause": int(value), "label": _label(placed, mine)}
            for value, (mine, _) in zip(causes, masks, strict=True)
        ]
        found.append(_part_finding("cause", "label", heads, masks, placed, spent, cells, labels, basis))
    if stages.size > 1:
        masks = [(here == value, then == value) for value in stages]
        heads = [
            {"stage": int(v // 2), "stage_kind": int(v % 2), "name": stage_name(v // 2, v % 2)}
            for v in stages
        ]
        found.append(_part_finding("stage", "name", heads, masks, placed, spent, cells, labels, basis))
    return found


def _segment(row: Columns) -> Array:
    """One number for stage and kind; NaN outside stages."""
    kind = np.nan_to_num(row["stage_kind"].astype(float))
    return 2 * row["stage"].astype(float) + (kind == 1)


def _among(segment: Array, wanted: Array) -> Array:
    """Which are in the segments `wanted`; NaN, outside stages, is one of them."""
    inside = np.isin(segment, wanted[np.isfinite(wanted)])
    return inside | (np.isnan(segment) if np.isnan(wanted).any() else False)


def _label(death: Columns, mine: Array) -> str:
    return cause_name(death["cause_label"][mine], death["cause"][mine][0])


def _part_finding(
    by: str, name: str, heads: list[dict[str, Any]], masks: list[tuple[Array, Array]], placed: Columns, spent: Columns,
    cells: Cells, labels: Array, basis: Basis,
) -> Finding:  # fmt: skip
    """masks: of each part, which deaths and which rows of time are its own; heads: what its rows begin with."""
    counts = []
    times = []
    for mine, own in masks:
        x, y, player = placed["x"][mine], placed["y"][mine], placed["player"][mine].astype(str)
        counts.append(cell_counts(cells, x, y, player, labels))
        times.append(_time_by_cell({key: column[own] for key, column in spent.items()}, cells, labels))
    rows: dict[str, list[Any]] = {}
    parts: dict[str, list[Any]] = {}
    hottest: tuple[float, str] | None = None
    for head, count, hot in zip(heads, counts, hot_spots_of_parts(counts, times), strict=True):
        deaths = count.sum(axis=0).astype(int)
        is_hot = (hot.p <= SIGNIFICANT) & (hot.players >= 2)
        for cell in np.flatnonzero(deaths):
            _append(rows, head | {
                "x_px": int(cells.left[cell]), "y_px": int(cells.top[cell]),
                "width_px": int(min(cells.size, cells.width - cells.left[cell])),
                "height_px": int(min(cells.size, cells.height - cells.top[cell])),
                "deaths": int(deaths[cell]), "players": int(hot.players[cell]),
                "expected_deaths": float(hot.expected[cell]), "score": float(hot.score[cell]),
                "p": float(hot.p[cell]), "hot": bool(is_hot[cell]),
            })  # fmt: skip
        top = int(np.argmax(np.where(deaths > 0, hot.score, -np.inf)))
        _append(parts, head | {
            "deaths": int(deaths.sum()), "players": int(np.sum(count.sum(axis=1) > 0)),
            "hot_cells": int(is_hot.sum()), "strongest_x_px": int(cells.left[top]),
            "strongest_y_px": int(cells.top[top]), "p": float(hot.p[top]),
        })  # fmt: skip
        if is_hot.any() and (hottest is None or hot.score[top] > hottest[0]):
            took, wanted = counted(int(deaths[top]), "death"), amount(float(hot.expected[top]))
            told = f"with {took} where {wanted} would be expected"
            where = f"{head[name]} at {_place(cells, top)}"
            hottest = float(hot.score[top]), f"{where}, {told} (p = {hot.p[top]:.3f})"
    noun = "causes" if by == "cause" else "parts of the game"
    corrected = f"corrected for all cells of {len(heads)} {noun}"
    if hottest is None:
        sentence = f"None of the {len(heads)} {noun} has a hot place of its own, {corrected}."
    else:
        having = sum(number > 0 for number in parts["hot_cells"])
        verb = "has" if having == 1 else "have"
        sentence = (
            f"{having} of {len(heads)} {noun} {verb} hot places; the strongest is {hottest[1]}, {corrected}."
        )
    return Finding(
        id=f"deaths.places_by_{by}", question="deaths",
        title="Where each cause kills" if by == "cause" else "Where each stage kills", sentence=sentence,
        players=basis.players, runs=basis.runs, method="hot_spots", warnings=basis.warnings,
        tables={"cells": rows, "parts": parts},
        facts={"screen_width": cells.width, "screen_height": cells.height, "cell_px": cells.size},
    )  # fmt: skip


def _place(cells: Cells, cell: int) -> str:
    left, top = int(cells.left[cell]), int(cells.top[cell])
    right, bottom = min(left + cells.size, cells.width), min(top + cells.size, cells.height)
    return f"x {left} to {right}, y {top} to {bottom}"


def _append(rows: dict[str, list[Any]], row: dict[str, Any]) -> None:
    for column, value in row.items():
        rows.setdefault(column, []).append(value)
