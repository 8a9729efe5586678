"""Survival curves as the tables that figures draw."""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from analysis.findings.declared import Column, estimate_cells, estimate_columns
from analysis.stats.estimate import Estimate
from analysis.stats.lifetimes.clustered import SurvivalCurve, restricted_mean_by_player, survival_by_player

Array = np.ndarray
# The columns of a survival curve; its first row is the start, its last the end.
CURVE = (
    Column("time", "on the axis", "each time at which the share changes"),
    *estimate_columns("surviving", "share", "the share still going after it"),
    Column("at_risk", "", "how many were going just before it"),
    Column("deaths", "", "how many ended at it"),
    Column("players_at_risk", "", "of how many players they are"),
)
GROUP = Column("group", "", "the name of the group")
# One row a group: its median, and its mean up to one horizon.
GROUPS = (
    GROUP,
    Column("players", "", "players in the group"),
    *estimate_columns("median", "on the axis", "half had ended by then", "median_"),
    *estimate_columns("mean", "on the axis", "mean of what lasts at most as long as `horizon`", "mean_"),
    Column("horizon", "on the axis", "the longest time that every group reaches"),
)
# A screen is no wider: further steps of a curve would not be seen.
MOST_POINTS = 400
# A median that fewer players than these reached is not named. A convention, no source.
LEAST_AT_RISK = 5


def curve_table(curve: SurvivalCurve, most_points: int = MOST_POINTS) -> dict[str, Array]:
    """The columns of CURVE, with no more rows than a screen is wide.

    At 0 everybody is still going: what is sure has no interval. Where nobody ended, the last row has one.
    """
    steps = curve.time.size
    shown = np.arange(steps)
    if steps > most_points:
        shown = np.unique(np.linspace(0, steps - 1, most_points).round().astype(int))
    # The deaths of the steps left out are shown with the next one that is not.
    deaths = np.diff(np.r_[0, np.cumsum(curve.deaths)[shown]])
    columns = {
        "time": np.r_[0.0, curve.time[shown]],
        "surviving": np.r_[1.0, curve.surviving[shown]],
        "low": np.r_[1.0, curve.low[shown]],
        "high": np.r_[1.0, curve.high[shown]],
        "at_risk": np.r_[curve.runs, curve.at_risk[shown]],
        "deaths": np.r_[0, deaths].astype(int),
        "players_at_risk": np.r_[curve.players, curve.players_at_risk[shown]],
    }
    if curve.last > columns["time"][-1]:
        end = {"time": curve.last, "deaths": 0, "at_risk": 1, "players_at_risk": 1}
        if not steps:
            end["low"] = curve.at(curve.last)[1]
        columns = {name: np.r_[column, end.get(name, column[-1])] for name, column in columns.items()}
    return columns


def median_estimate(curve: SurvivalCurve, unit: str) -> Estimate:
    """The median duration; None where fewer than half were seen to end, and where it would rest on a few players.

    With most censored the curve can come down to one half by the end of a single player.
    """
    median = curve.median()
    if median.value is not None:
        there = curve.time <= median.value
        # Where half of all were seen to end, nothing was carried over from those who went on.
        half_seen = 2 * int(curve.deaths[there].sum()) >= curve.runs
        if not half_seen and curve.players_at_risk[there][-1] < LEAST_AT_RISK:
            return Estimate(None, level=curve.level, players=curve.players, unit=unit)
    # Without an upper limit the interval is open: the data do not say how long at most.
    return replace(median, low=None if median.value is None else median.low, unit=unit)


def grouped(
    duration: Array, died: Array, player: Array, group: Array, most_points: int = MOST_POINTS
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(curves in long form with a column `group`, one row a group with its median and restricted mean).

    The restricted means go up to one horizon, the longest time that every group reaches.
    """
    names = sorted(set(group.tolist()))
    horizon = min(float(duration[group == name].max()) for name in names)
    long: list[dict[str, Array]] = []
    rows: list[dict[str, Any]] = []
    for name in names:
        mine = group == name
        curve = survival_by_player(duration[mine], died[mine], player[mine])
        table = curve_table(curve, most_points)
        long.append({"group": np.full(table["time"].size, name), **table})
        mean = restricted_mean_by_player(duration[mine], died[mine], player[mine], horizon)
        median = median_estimate(curve, "")
        rows.append(
            {
                "group": name,
                "players": curve.players,
                "lives": curve.runs,
                "deaths": int(curve.deaths.sum()),
                **estimate_cells("median", median, "median_"),
                **estimate_cells("mean", mean, "mean_"),
                "horizon": horizon,
            }
        )
    # Columns are joined before they are a frame: to join frames takes longer than the curves. A column without any
    # value is one of numbers still.
    of_time = {column.name for column in GROUPS if column.unit}
    return (
        pd.DataFrame({column: np.concatenate([table[column] for table in long]) for column in long[0]}),
        pd.DataFrame({n: np.array([row[n] for row in rows], float if n in of_time else None) for n in rows[0]}),
    )
