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
deaths.no_place  in place of deaths.places where no death has both an x and a y; no tables.
deaths.places_by_cause, deaths.places_by_stage  see places.py.
deaths.causes  causes: cause, label, deaths, share, low, high, players.
deaths.by_stage  segments: stage, stage_kind, name, deaths, alive_s, rate_per_min, low, high, players.
See fairness.py for deaths.fairness and the others on how deaths came about.
"""

from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings.basis import NO_RUNS, Basis, nothing, read_basis
from analysis.findings.deaths import circumstances as fairness
from analysis.findings.deaths import death_map as places
from analysis.findings.highest import against_rest
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.stats.learning import part_against_rest
from analysis.stats.proportions import share_by_player
from analysis.stats.rates import rate_by_player
from analysis.words import amount, cause_name, counted, limits, percent, stage_name

QUESTION = "deaths"


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
    if (np.isfinite(death["x"].astype(float)) & np.isfinite(death["y"].astype(float))).any():
        whole, *parts = places.find(reader, selection, death, basis)
        found = [whole, *found, *parts]
    else:
        found = [_without_place(death, basis), *found]
    width = int(reader.ask_chosen("screen", selection)["width"][0])
    return found + fairness.find(reader, selection, death, basis, width)


def _without_place(death: Columns, basis: Basis) -> Finding:
    """Why there is no map of these deaths, and which field the game must log to get one."""
    lacking = [axis for axis in ("x", "y") if not np.isfinite(death[axis].astype(float)).any()]
    total = counted(int(death["x"].size), "death")
    if lacking:
        none = " and no ".join(f"`{axis}`" for axis in lacking)
        fields = "a field with the role" if len(lacking) == 1 else "fields with the roles"
        told = f"In {total} there is no {none}"
        what = f"{fields} {' and '.join(f'`{axis}`' for axis in lacking)}"
    else:
        told, what = f"No death of {death['x'].size} has both `x` and `y`", "fields with both roles"
    return Finding(
        id="deaths.no_place", question=QUESTION, title="Where players die",
        sentence=f"{told}, so there is no map of where they were: give the event with the role `death` {what}, in "
        "pixels of the screen.",
        players=basis.players, runs=basis.runs, method="count", warnings=basis.warnings,
    )  # fmt: skip


def _causes(death: Columns, basis: Basis) -> Finding:
    cause = death["cause"].astype(float)
    player = death["player"].astype(str)
    rows: dict[str, list[Any]] = {
        n: [] for n in ("cause", "label", "deaths", "share", "low", "high", "players")
    }
    for value in sorted(set(cause[np.isfinite(cause)])):
        mine = cause == value
        share = share_by_player(mine, np.ones(mine.size), player)
        label = cause_name(death["cause_label"][mine], value)
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
        estimate = share
        sentence = (
            f"{table['label'][0]} took {percent(share.value)} of {counted(cause.size, 'death')} {limits(estimate)}"
            f", in {table['players'][0]} of {counted(basis.players, 'player')}."
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
    best: tuple[float, str, Estimate, float] | None = None
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
            best = (
                rate.value,
                name,
                rate.in_unit("deaths a minute"),
                2 * stage + kind,
            )
    sentence = "No time alive was logged, so deaths have no rate."
    if best:
        rest = _against_the_rest(visit, keep, best[3], len(rows["name"]))
        sentence = f"Deaths come fastest in {best[1]}: {amount(best[2].value)} a minute alive {limits(best[2])}{rest}."
    if best and len(rows["name"]) == 1:
        sentence = f"In {best[1]} players die {amount(best[2].value)} times a minute alive {limits(best[2])}."
    return Finding(
        id="deaths.by_stage", question=QUESTION, title="Deaths by stage", sentence=sentence, players=basis.players,
        runs=basis.runs, method="rate_by_player", estimate=best[2] if best else None, warnings=basis.warnings,
        tables={"segments": rows},
    )  # fmt: skip


def _against_the_rest(visit: Columns, keep: np.ndarray, segment: float, parts: int) -> str:
    """The part with the most deaths a minute against the others, the same players in both: only the better ones come
    to the later parts.
    """
    place = 2 * visit["stage"] + visit["stage_kind"]
    found = part_against_rest(
        visit["deaths"][keep],
        visit["alive_us"][keep] / 60e6,
        place[keep],
        segment,
        visit["player"][keep].astype(str),
    )
    return against_rest(found, "there", "elsewhere", f"{parts} parts of the game")
