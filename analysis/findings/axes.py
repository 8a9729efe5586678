"""Survival over other axes than seconds. Called by survival.py.

survival.on_shots, .on_notes, .on_lines   until the death, counted from (re)spawn
survival.on_progress                      stages (regular parts and bosses one each) got through until game
over survival.on_lives                         lives spent in a stage until it is cleared; stages the run left
are censored survival.on_attempts                      a player's attempts until the game is first finished
Each: curve as in survival.curve with `time` counted on the axis; facts: axis, event, median.
"""

from dataclasses import replace

import numpy as np

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.curves import curve_table, median_estimate
from analysis.findings.wording import between, counted, figure
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.clustered import survival_by_player

Array = np.ndarray


def find(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    """One finding an axis for which the game logs what is needed."""
    found = []
    if basis.roles & {"shot", "note", "lines"} and "death" in basis.roles:
        life = reader.ask_chosen("life_counts", selection)
        died, player = life["died"].astype(bool), life["player"].astype(str)
        for axis, role in (("shots", "shot"), ("notes", "note"), ("lines", "lines")):
            if role in basis.roles and life[axis].any():
                found.append(_axis(axis, axis, "their death", "lives", life[axis], died, player, basis))
    visit = reader.ask_chosen("stage_visits", selection)
    if visit["run_id"].size:
        if np.unique(visit["stage"] * 2 + visit["stage_kind"]).size > 1:
            found.append(_progress(visit, basis))
        # With one life a stage, lives spent say no more than the funnel.
        if np.any(visit["deaths"] > 1):
            cleared = visit["outcome"].astype(str) == "cleared"
            # Clearing takes the life one plays with; a stage left unfinished has used up its deaths.
            spent = visit["deaths"] + cleared
            found.append(
                _axis("lives", "lives", "being cleared", "stage visits", spent, cleared,
                      visit["player"].astype(str), basis)
            )  # fmt: skip
    if np.any(basis.run["ending"].astype(str) == "finished"):
        found.append(_attempts(basis))
    return found


def _progress(visit: Columns, basis: Basis) -> Finding:
    segment = visit["stage"] * 2 + visit["stage_kind"]
    place = np.searchsorted(np.unique(segment), segment) + 1
    last = np.r_[visit["run_id"][1:] != visit["run_id"][:-1], True]
    died = visit["outcome"][last].astype(str) == "died_out"
    # A game over in the third part is a death at 3; a run that quit there is only known to have got through
    # two.
    cleared = visit["outcome"][last].astype(str) == "cleared"
    reached = place[last] - np.where(died | cleared, 0, 1)
    return _axis(
        "progress",
        "parts of the game",
        "game over",
        "runs",
        reached,
        died,
        visit["player"][last].astype(str),
        basis,
    )


def _attempts(basis: Basis) -> Finding:
    run, player = basis.run, basis.run["player"].astype(str)
    tries, done = [], []
    names = np.unique(player)
    for name in names:
        mine = player == name
        attempt = np.sort(run["attempt"][mine].astype(int))
        won = run["attempt"][mine & (run["ending"].astype(str) == "finished")]
        tries.append(float(np.sum(attempt <= won.min())) if won.size else float(attempt.size))
        done.append(won.size > 0)
    return _axis(
        "attempts", "attempts", "a first finish", "players", np.array(tries), np.array(done), names, basis
    )


_ONE = {"lives": "life", "parts of the game": "part of the game"}


def _told(value: float, axis: str) -> str:
    """`1 attempt`, `7 attempts`."""
    return f"{figure(value)} {_ONE.get(axis, axis.removesuffix('s')) if value == 1 else axis}"


def _axis(
    key: str, axis: str, event: str, units: str, value: Array, happened: Array, player: Array, basis: Basis
) -> Finding:
    curve = survival_by_player(value, happened, player)
    median = median_estimate(curve, axis)
    size = counted(curve.runs, "unit").split()[0] + f" {units}"
    interval = between(replace(median, unit=""))
    if not happened.any():
        sentence = f"In none of {size} was {event} seen; the longest went on for {_told(curve.last, axis)}."
    elif median.value is None:
        sentence = f"Fewer than half of {size} reached {event} within {_told(curve.last, axis)}."
    else:
        sentence = f"Half of {size} reached {event} within {_told(median.value, axis)} {interval}."
    return Finding(
        id=f"survival.on_{key}", question="survival", title=f"Until {event}, in {axis}", sentence=sentence,
        players=curve.players, runs=basis.runs, method="survival_by_player", estimate=median,
        warnings=basis.warnings, tables={"curve": curve_table(curve)},
        facts={"axis": axis, "event": event, "median": median.value},
    )  # fmt: skip
