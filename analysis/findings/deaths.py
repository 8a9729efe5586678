"""Where and of what players die.

Ids and their tables (columns of one length; NaN where nothing can be said):

deaths.places  cells: x_px, y_px (upper left corner), width_px, height_px, deaths, players (who died there),
               seconds (spent there; NaN without positions), rate_per_s, rate_low, rate_high, smooth_rate,
               g_star (Getis-Ord, of deaths alone: where they cluster, dangerous or only busy),
               expected_deaths, expected_players, score, p (corrected for all cells), hot (p <= 0.05
               and two players or more).
               deaths: life_id, run_id, player, stage, stage_kind, cause, cause_label, x, y, alive_s.
               by_cause: cause, label, x_px, y_px, deaths (cells with any).
               facts: screen_width, screen_height, cell_px, exposure (positions are logged), hot_cells.
deaths.causes  causes: cause, label, deaths, share, low, high, players.
deaths.by_stage  segments: stage, stage_kind, name, deaths, alive_s, rate_per_min, low, high, players.
See fairness.py for deaths.fairness and the others on how deaths came about.
"""

from typing import Any

import numpy as np

from analysis.finding import Estimate, Finding
from analysis.findings import fairness
from analysis.findings.basis import NO_RUNS, Basis, nothing, read_basis
from analysis.findings.wording import between, counted, figure, percent, stage_name
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.places import (
    Cells,
    HotSpots,
    cell_counts,
    getis_ord_star,
    hot_spots,
    rate_limits,
    smooth_rate,
)
from analysis.stats.proportions import share_by_player
from analysis.stats.rates import rate_by_player

QUESTION = "deaths"
# A cell is hot where chance alone would bring one like it, anywhere on the screen, in one playtest of twenty.
SIGNIFICANT = 0.05
_LONGEST_US = 1_000_000
_MANY_DEATHS = 300


def find(reader: Reader, selection: Selection) -> list[Finding]:
    """The findings on deaths; one that says why where there can be none."""
    basis = read_basis(reader, selection)
    if not basis.runs:
        return [nothing(QUESTION, NO_RUNS)]
    death = reader.ask_chosen("deaths", selection)
    if not death["life_id"].size:
        logs = "No event of this game has the role `death`." if "death" not in basis.roles else "Nobody died"
        sentence = logs if "death" not in basis.roles else f"{logs} in {basis.size}."
        return [nothing(QUESTION, sentence, basis)]
    found = [_causes(death, basis), _by_stage(reader, selection, death, basis)]
    if np.isfinite(death["x"].astype(float)).any():
        found.insert(0, _places(reader, selection, death, basis))
    width = int(reader.ask_chosen("screen", selection)["width"][0])
    return found + fairness.find(reader, selection, death, basis, width)


def _places(reader: Reader, selection: Selection, death: Columns, basis: Basis) -> Finding:
    screen = reader.ask_chosen("screen", selection)
    width, height = int(screen["width"][0]), int(screen["height"][0])
    placed = {
        name: column[np.isfinite(death["x"]) & np.isfinite(death["y"])] for name, column in death.items()
    }
    # About eight or sixteen cells along the short side: fewer than three deaths a cell on average say little.
    parts = 8 if placed["x"].size < _MANY_DEATHS else 16
    cells = Cells(width, height, max(1, min(width, height) // parts))
    labels, count = cell_counts(cells, placed["x"], placed["y"], placed["player"].astype(str))
    time = _time_by_cell(reader, selection, cells, labels)
    exposed = bool(time.sum() > 0)
    # Without positions nothing says where players were: every cell somebody died in is as likely as another.
    hot = hot_spots(count, time if exposed else np.tile(count.sum(axis=0) > 0, (labels.size, 1)))
    table = _cell_table(cells, count, time if exposed else np.full_like(time, np.nan), hot)
    is_hot = np.asarray(table["hot"], bool)
    # Without positions the busiest place is shown, which is no verdict on it.
    here = count[:, is_hot if exposed else [int(np.argmax(count.sum(axis=0)))]].sum(axis=1)
    share = share_by_player(here, count.sum(axis=1), labels)
    estimate = Estimate(share.value, share.low, share.high, unit="share")
    warnings = list(basis.warnings)
    if not exposed:
        warnings.append(
            "No positions are logged, so a dangerous place cannot be told from a busy one: log a `position` event "
            "a few times a second."
        )
    missing = int(death["x"].size - placed["x"].size)
    if missing:
        warnings.append(f"{counted(missing, 'death')} without a place.")
    return Finding(
        id="deaths.places", question=QUESTION, title="Where players die",
        sentence=_places_sentence(placed, table, hot, is_hot, estimate, exposed), players=basis.players,
        runs=basis.runs, method="hot_spots", estimate=estimate, warnings=tuple(warnings),
        tables={"cells": table, "deaths": _death_table(placed), "by_cause": _by_cause(cells, placed)},
        facts={"screen_width": width, "screen_height": height, "cell_px": cells.size, "exposure": exposed,
               "hot_cells": int(is_hot.sum())},
    )  # fmt: skip


def _time_by_cell(reader: Reader, selection: Selection, cells: Cells, labels: np.ndarray) -> np.ndarray:
    """(players, cells) seconds, in the order of `labels`; players who never died have no row."""
    spent = reader.ask_chosen(
        "time_by_cell",
        selection,
        cell=cells.size,
        columns=cells.columns,
        rows=cells.rows,
        longest_us=_LONGEST_US,
    )
    time = np.zeros((labels.size, cells.columns * cells.rows))
    player = spent["player"].astype(str)
    row = np.searchsorted(labels, player)
    known = (row < labels.size) & (labels[np.minimum(row, labels.size - 1)] == player)
    cell = (spent["cell_row"] * cells.columns + spent["cell_column"]).astype(int)
    np.add.at(time, (row[known], cell[known]), spent["seconds"][known])
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
        "smooth_rate": smooth_rate(deaths, weight, cells, 0.75 * cells.size),
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
        label = next(
            (str(text) for text in death["cause_label"][mine] if text is not None), f"cause {value:.0f}"
        )
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
        took, wanted = int(table["deaths"][cell]), figure(float(hot.expected[cell]))
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
            f"{int(table['deaths'][most])} of {total} were at {place(most)} {between(estimate)}, more than anywhere; "
            "whether that place is dangerous or only busy the log does not say."
        )
    top = int(np.argmax(np.where(is_hot, hot.score, -np.inf)))
    return (
        f"{counted(int(is_hot.sum()), 'hot place')} on the screen took {percent(estimate.value)} of {total} "
        f"{between(estimate)}; the strongest, {seen(top)}, in {counted(int(hot.players[top]), 'player')} "
        f"(p = {hot.p[top]:.3f}, corrected for all cells)."
    )


def _causes(death: Columns, basis: Basis) -> Finding:
    cause = death["cause"].astype(float)
    player = death["player"].astype(str)
    rows: dict[str, list[Any]] = {
        n: [] for n in ("cause", "label", "deaths", "share", "low", "high", "players")
    }
    for value in sorted(set(cause[np.isfinite(cause)])):
        mine = cause == value
        share = share_by_player(mine, np.ones(mine.size), player)
        label = next(
            (str(text) for text in death["cause_label"][mine] if text is not None), f"cause {value:.0f}"
        )
        row = (
            int(value),
            label,
            int(mine.sum()),
            share.value,
            share.low,
            share.high,
            int(np.unique(player[mine]).size),
        )
        for name, item in zip(rows, row, strict=True):
            rows[name].append(item)
    order = np.argsort([-int(str(n)) for n in rows["deaths"]], kind="stable")
    table = {name: [column[i] for i in order] for name, column in rows.items()}
    if not table["cause"]:
        sentence, estimate = f"The game does not say of what its {counted(cause.size, 'death')} were.", None
    else:
        share = share_by_player(cause == table["cause"][0], np.ones(cause.size), player)
        estimate = Estimate(share.value, share.low, share.high, unit="share")
        sentence = (
            f"{table['label'][0]} took {percent(share.value)} of {counted(cause.size, 'death')} {between(estimate)}"
            f", in {table['players'][0]} of {basis.players} players."
        )
    return Finding(
        id="deaths.causes", question=QUESTION, title="What kills", sentence=sentence, players=basis.players,
        runs=basis.runs, method="share_by_player", estimate=estimate, warnings=basis.warnings, tables={"causes": table},
    )  # fmt: skip


def _by_stage(reader: Reader, selection: Selection, death: Columns, basis: Basis) -> Finding:
    visit = reader.ask_chosen("stage_visits", selection)
    keep = np.ones(visit["stage"].size, bool)
    if selection.stage is not None:
        keep &= visit["stage"] == selection.stage
    if selection.stage_kind is not None:
        keep &= visit["stage_kind"] == selection.stage_kind
    names = ("stage", "stage_kind", "name", "deaths", "alive_s", "rate_per_min", "low", "high", "players")
    rows: dict[str, list[Any]] = {name: [] for name in names}
    best: tuple[float, str, Estimate] | None = None
    for stage, kind in sorted(
        set(zip(visit["stage"][keep].tolist(), visit["stage_kind"][keep].tolist(), strict=True))
    ):
        mine = keep & (visit["stage"] == stage) & (visit["stage_kind"] == kind)
        rate = rate_by_player(
            visit["deaths"][mine], visit["alive_us"][mine] / 60e6, visit["player"][mine].astype(str)
        )
        name = stage_name(stage, kind)
        row = (
            stage,
            kind,
            name,
            rate.events,
            60 * rate.exposure,
            rate.value,
            rate.low,
            rate.high,
            rate.players,
        )
        for column, item in zip(rows, row, strict=True):
            rows[column].append(item)
        if rate.value is not None and (best is None or rate.value > best[0]):
            best = rate.value, name, Estimate(rate.value, rate.low, rate.high, unit="deaths a minute")
    sentence = (
        f"Deaths come fastest in {best[1]}: {figure(best[2].value)} a minute alive {between(best[2])}."
        if best
        else "No time alive was logged, so deaths have no rate."
    )
    return Finding(
        id="deaths.by_stage", question=QUESTION, title="Deaths by stage", sentence=sentence, players=basis.players,
        runs=basis.runs, method="rate_by_player", estimate=best[2] if best else None, warnings=basis.warnings,
        tables={"segments": rows},
    )  # fmt: skip
