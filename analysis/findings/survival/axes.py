"""Survival over other axes than seconds.

on_shots: until the death, counted from (re)spawn. on_progress: stages (regular parts and bosses one each) got through
until game over. on_lives: lives spent in a stage until it is cleared; stages the run left are censored. on_attempts: a
player's attempts until the game is first finished; by stage, the times a player entered a stage until it was first
cleared.

By stage, a life begins where the stage is entered and is cut short where it is left; attempts are grouped by what holds
for the player as a whole.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.declared import Column, Declared
from analysis.findings.grouping import group_names, groupings
from analysis.findings.survival.curves import CURVE, GROUP, GROUPS, LEAST_AT_RISK, curve_table, grouped, median_estimate
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.lifetimes.clustered import survival_by_player
from analysis.words import amount, counted, limits

Array = np.ndarray
_BY_PLAYER = ("build", "group", "first_time")
_BY_RUN = ("build", "attempt", "group", "first_time")
_GROUP_POINTS = 100


@dataclass(frozen=True)
class _Units:
    """What lasts: lives, runs, stage visits or players, with the columns that groups are made of."""

    value: Array
    happened: Array
    row: Columns

    @property
    def player(self) -> Array:
        return self.row["player"]


_Tables = dict[str, pd.DataFrame]
_AXES = {
    "shots": ("their death", "shots"),
    "progress": ("game over", "parts of the game"),
    "lives": ("being cleared", "lives"),
    "attempts": ("a first finish", "attempts"),
}
_BY = Column("by", "", "what the groups differ in: stage, build, attempt, group or first_time")
ON_AXIS = {
    key: Declared(
        f"survival.on_{key}",
        "survival",
        f"Until {event}, in {axis}",
        "survival_by_player",
        {
            "curve": CURVE,
            "curves": (_BY, GROUP, *CURVE),
            "groups": (_BY, *GROUPS, Column("units", "", "what was counted"), Column("events", "", "those that ended")),
        },
        (
            Column("axis", "", "what is counted"),
            Column("event", "", "what the curve goes until"),
            Column("median", "on the axis", "half had ended by then"),
            Column("stage_event", "", "what the curves by stage go until", optional=True),
        ),
    )
    for key, (event, axis) in _AXES.items()
}


def find(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    """One finding an axis for which the game logs what is needed."""
    found = []
    if {"shot", "death"} <= basis.roles:
        told = reader.ask_chosen("life_shots", selection)
        by_stage = told["by_stage"].astype(bool)
        life, part = told.where(~by_stage), told.where(by_stage)
        if life["shots"].any():
            units, staged = (_Units(row["shots"], row["died"].astype(bool), row) for row in (life, part))
            groups = _together(_groups(staged, ("stage",)), _groups(units, _BY_RUN))
            found.append(_axis("shots", "life", units, groups, basis))
    visit = reader.ask_chosen("stage_visits", selection)
    if visit["run_id"].size:
        if np.unique(visit["stage"] * 2 + visit["stage_kind"]).size > 1:
            found.append(_progress(visit, basis))
        # With one life a stage, lives spent say no more than the funnel.
        if np.any(visit["deaths"] > 1):
            cleared = visit["outcome"] == "cleared"
            # Clearing takes the life one plays with; a stage left unfinished has used up its deaths.
            units = _Units(visit["deaths"] + cleared, cleared, visit)
            groups = _groups(units, ("stage", *_BY_RUN))
            found.append(_axis("lives", "stage visit", units, groups, basis))
    stages = _groups(_tries(visit), ("stage",)) if np.any(visit["outcome"] == "cleared") else {}
    if stages or np.any(basis.run["ending"] == "finished"):
        found.append(_attempts(basis, stages))
    return found


def _progress(visit: Columns, basis: Basis) -> Finding:
    segment = visit["stage"] * 2 + visit["stage_kind"]
    place = np.searchsorted(np.unique(segment), segment) + 1
    last = np.r_[visit["run_id"][1:] != visit["run_id"][:-1], True]
    died = visit["outcome"][last] == "died_out"
    # A game over in the third part is a death at 3; a run that quit there is only known to have got through
    # two.
    cleared = visit["outcome"][last] == "cleared"
    reached = place[last] - np.where(died | cleared, 0, 1)
    units = _Units(reached, died, visit.where(last))
    groups = _groups(units, _BY_RUN)
    return _axis("progress", "run", units, groups, basis)


def _tries(visit: Columns) -> _Units:
    """One unit a player and stage: how often the player entered it until it was first cleared, or in all."""
    player, segment = visit["player"], visit["stage"] * 2 + visit["stage_kind"]
    order = np.lexsort((visit["visit"], visit["attempt"], segment, player))
    row = visit.where(order)
    player, segment = player[order], segment[order]
    first = np.flatnonzero(np.r_[True, (player[1:] != player[:-1]) | (segment[1:] != segment[:-1])])
    tries = np.diff(np.r_[first, player.size])
    nth = np.arange(player.size) - np.repeat(first, tries) + 1
    cleared = row["outcome"] == "cleared"
    won = np.minimum.reduceat(np.where(cleared, nth, player.size + 1), first)
    return _Units(np.minimum(tries, won), won <= tries, row.where(first))


def _attempts(basis: Basis, stages: _Tables) -> Finding:
    run, player = basis.run, basis.run["player"]
    tries, done = [], []
    names = np.unique(player)
    for name in names:
        mine = player == name
        attempt = np.sort(run["attempt"][mine].astype(int))
        won = run["attempt"][mine & (run["ending"] == "finished")]
        tries.append(float(np.sum(attempt <= won.min())) if won.size else float(attempt.size))
        done.append(won.size > 0)
    units = _Units(np.array(tries), np.array(done), _one_row_a_player(run, names))
    groups = _together(stages, _groups(units, _BY_PLAYER))
    found = _axis("attempts", "player", units, groups, basis)
    return replace(found, facts={**found.facts, "stage_event": "it is first cleared"})


def _one_row_a_player(run: Columns, names: Array) -> Columns:
    """What holds for all runs of each player; first_time: of the first run in which it is known."""
    player = run["player"]
    group, build = group_names(run, "group"), group_names(run, "build")
    rows: dict[str, list[Any]] = {"player": list(names), "build": [], "player_group": [], "first_time": []}
    for name in names:
        mine = np.flatnonzero(player == name)
        mine = mine[np.argsort(run["attempt"][mine], kind="stable")]
        for column, labels in (("build", build), ("player_group", group)):
            own = {labels[i] for i in mine}
            rows[column].append(own.pop() if len(own) == 1 else None)
        first = run["first_time"][mine]
        known = first[np.isfinite(first)]
        rows["first_time"].append(known[0] if known.size else np.nan)
    return Columns((name, np.array(column)) for name, column in rows.items())


def _groups(units: _Units, keys: tuple[str, ...]) -> _Tables:
    """The tables `curves` and `groups` of the groupings that tell groups apart; {} without any."""
    found = []
    for key, known, group in groupings(units.row, keys):
        value = np.asarray(units.value, float)[known]
        long, rows = grouped(value, units.happened[known], units.player[known], group, _GROUP_POINTS)
        rows = rows.rename(columns={"lives": "units", "deaths": "events"})
        found.append({"curves": long.assign(by=key), "groups": rows.assign(by=key)})
    return _together(*found)


def _together(*tables: _Tables) -> _Tables:
    """The rows of all; {} where none has any."""
    known = [one for one in tables if one]
    return {name: pd.concat([one[name] for one in known], ignore_index=True) for name in (known[0] if known else ())}


_ONE = {"lives": "life", "parts of the game": "part of the game"}


def _told(value: float, axis: str) -> str:
    """`1 attempt`, `7 attempts`."""
    return f"{amount(value)} {_ONE.get(axis, axis.removesuffix('s')) if value == 1 else axis}"


def _axis(key: str, unit: str, units: _Units, groups: _Tables, basis: Basis) -> Finding:
    event, axis = _AXES[key]
    curve = survival_by_player(units.value, units.happened, units.player)
    median = median_estimate(curve, axis)
    size = counted(curve.runs, unit, "lives" if unit == "life" else "")
    interval, ended = limits(replace(median, unit="")), int(np.sum(units.happened))
    if not ended:
        sentence = f"In none of {size} was {event} seen; the longest went on for {_told(curve.last, axis)}."
    elif median.value is None and 2 * ended < curve.runs:
        sentence = f"Fewer than half of {size} reached {event} within {_told(curve.last, axis)}."
    elif median.value is None:
        few = f"fewer than {LEAST_AT_RISK} players went on for so long"
        sentence = f"{ended} of {size} reached {event}; in how many {axis} half of all would, cannot be told: {few}."
    else:
        sentence = f"Half of {size} reached {event} within {_told(median.value, axis)} {interval}."
    tables = {"curve": curve_table(curve)} | groups
    facts = {"axis": axis, "event": event, "median": median.value}
    return ON_AXIS[key].finding(basis, sentence, median, tables, facts, players=curve.players)
