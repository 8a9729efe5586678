"""Falling blocks: levels, where the pile overflows, the longest wait for a piece, pace. Called by genres.py.

genres.levels    levels: level, build, interval_ms (of the drop), alive_s, deaths, rate_per_min, low, high,
runs, players.
                 facts: per_halving (how many times as often with half the interval), low, high.
genres.overflow   columns: x_px, pieces (that came to rest there), overflows (runs whose highest piece of the
                 last few lay there), players, deaths (logged there).
genres.longest_wait  pieces: piece, label, pieces, share, longest (pieces in a row without it), chance (of one so
long
                 somewhere, were all pieces alike and independent).
genres.pace      levels: level, pieces, players, seconds (mean of the players' medians, appearing to resting),
low, high.
"""

from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.stats.learning import slope_within_players
from analysis.stats.rates import rate_by_player
from analysis.stats.streaks import longest_wait, wait_chance
from analysis.stats.within_player import mean_of_players
from analysis.words import amount, counted, limits, percent

QUESTION = "genres"
# The pile's height at the end is read off the last so many pieces: those of one layer of a narrow pit.
_LAST_PIECES = 8


def find(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    """As far as pieces, where they land and levels are logged."""
    spell = reader.ask_chosen("level_spells", selection)
    piece = reader.ask_chosen("pieces", selection)
    found = [_levels(spell, basis)] if spell["level"].size and "death" in basis.roles else []
    if np.isfinite(piece["x"].astype(float)).any():
        found.append(_overflow(piece, reader.ask_chosen("deaths", selection), basis))
    if np.unique(piece["piece"][np.isfinite(piece["piece"].astype(float))]).size > 1:
        found.append(_longest_wait(piece, basis))
    if np.isfinite(piece["rest_us"].astype(float)).any():
        found.append(_pace(piece, basis))
    return found


def _levels(spell: Columns, basis: Basis) -> Finding:
    player, build, level = (
        spell["player"].astype(str),
        spell["build"].astype(str),
        spell["level"].astype(float),
    )
    rows: dict[str, list[Any]] = {}
    for number in np.unique(level):
        for name in np.unique(build[level == number]):
            mine = (level == number) & (build == name)
            rate = rate_by_player(spell["deaths"][mine], spell["alive_s"][mine] / 60, player[mine])
            row = {
                "level": int(number), "build": name, "interval_ms": float(spell["interval_ms"][mine][0]),
                "alive_s": 60 * rate.exposure, "deaths": rate.events, "rate_per_min": rate.value, "low": rate.low,
                "high": rate.high, "runs": int(np.unique(spell["run_id"][mine]).size), "players": rate.players,
            }  # fmt: skip
            for column, item in row.items():
                rows.setdefault(column, []).append(item)
    known = np.isfinite(spell["interval_ms"].astype(float)) & (spell["interval_ms"] > 0)
    slope = None
    if known.any():
        halvings = -np.log2(spell["interval_ms"][known].astype(float))
        slope = slope_within_players(spell["deaths"][known], spell["alive_s"][known], halvings, player[known])
    facts: dict[str, Any] = {"per_halving": None, "low": None, "high": None}
    estimate = None
    reached = level.max()
    sentence = f"Level {reached:.0f} was the highest of {basis.size}"
    if slope is not None:
        estimate = slope.ratio
        facts = {"per_halving": estimate.value, "low": estimate.low, "high": estimate.high}
        sentence += (
            f"; where pieces drop twice as fast a player dies {amount(estimate.value)} times as often a minute "
            f"{limits(estimate)}, compared with the same player at other levels (the pit is fuller by then, too)"
        )
    return Finding(
        id="genres.levels", question=QUESTION, title="Survival by level and drop interval", sentence=sentence + ".",
        players=basis.players, runs=basis.runs, method="slope_within_players", estimate=estimate,
        warnings=basis.warnings, tables={"levels": rows}, facts=facts,
    )  # fmt: skip


def _overflow(piece: Columns, death: Columns, basis: Basis) -> Finding:
    known = np.isfinite(piece["x"].astype(float)) & np.isfinite(piece["y"].astype(float))
    run, x, y = piece["run_id"][known], piece["x"][known].astype(float), piece["y"][known].astype(float)
    player = piece["player"][known].astype(str)
    died = set(death["run_id"].tolist())
    last = np.flatnonzero(np.r_[run[1:] != run[:-1], True])
    highest, owners = [], []
    for end in last:
        if run[end] in died:
            begin = max(int(np.searchsorted(run, run[end])), int(end) - _LAST_PIECES + 1)
            highest.append(x[begin + int(np.argmin(y[begin : end + 1]))])
            owners.append(player[end])
    top, owner = np.array(highest, float), np.array(owners)
    columns = np.unique(x)
    table: dict[str, Any] = {
        "x_px": columns,
        "pieces": [int(np.sum(x == c)) for c in columns],
        "overflows": [int(np.sum(top == c)) for c in columns],
        "players": [int(np.unique(owner[top == c]).size) for c in columns],
        "deaths": [int(np.sum(death["x"] == c)) for c in columns],
    }
    if top.size:
        most = int(np.argmax(table["overflows"]))
        fair = table["pieces"][most] / max(int(known.sum()), 1)
        sentence = (
            f"The pile was highest at x {columns[most]:.0f} in {table['overflows'][most]} of "
            f"{counted(top.size, 'run')} that ended with an overflow; {percent(fair)} of all pieces came to rest there."
        )
    else:
        sentence = "No run ended with an overflow, so there is no place to name."
    return Finding(
        id="genres.overflow", question=QUESTION, title="Where the pile overflows", sentence=sentence,
        players=basis.players, runs=basis.runs, method="count", warnings=basis.warnings, tables={"columns": table},
    )  # fmt: skip


def _longest_wait(piece: Columns, basis: Basis) -> Finding:
    known = np.isfinite(piece["piece"].astype(float))
    kind, run = piece["piece"][known].astype(int), piece["run_id"][known]
    kinds, of_run = np.unique(kind), np.unique(run, return_counts=True)[1]
    rows: dict[str, list[Any]] = {n: [] for n in ("piece", "label", "pieces", "share", "longest", "chance")}
    for value in kinds:
        mine = kind == value
        label = next((str(t) for t in piece["piece_label"][known][mine] if t is not None), f"piece {value}")
        longest = longest_wait(mine, run)
        chance = wait_chance(longest, 1 / kinds.size, of_run)
        for name, item in zip(
            rows, (int(value), label, int(mine.sum()), float(mine.mean()), longest, chance), strict=True
        ):
            rows[name].append(item)
    worst = int(np.argmax(rows["longest"]))
    chance = rows["chance"][worst]
    # Many kinds are looked at: the rarest of k waits.
    any_kind = 1 - (1 - chance) ** kinds.size
    verdict = "as dice would bring" if any_kind > 0.05 else "longer than dice would bring"
    sentence = (
        f"The longest wait was {counted(rows['longest'][worst], 'piece')} without a {rows['label'][worst]} among "
        f"{counted(kind.size, 'piece')}: {verdict} (chance {amount(any_kind)})."
    )
    return Finding(
        id="genres.longest_wait", question=QUESTION, title="The longest wait for a piece", sentence=sentence,
        players=basis.players, runs=basis.runs, method="longest_wait", warnings=basis.warnings, tables={"pieces": rows},
    )  # fmt: skip


def _pace(piece: Columns, basis: Basis) -> Finding:
    known = np.isfinite(piece["rest_us"].astype(float)) & (piece["rest_us"] > 0)
    seconds, player = piece["rest_us"][known] / 1e6, piece["player"][known].astype(str)
    level = np.nan_to_num(piece["level"][known].astype(float), nan=0.0)
    rows: dict[str, list[Any]] = {n: [] for n in ("level", "pieces", "players", "seconds", "low", "high")}

    def add(number: int | None, mine: np.ndarray) -> Estimate:
        medians = [float(np.median(seconds[mine & (player == name)])) for name in np.unique(player[mine])]
        mean = mean_of_players(np.array(medians))
        values = (number, int(mine.sum()), len(medians), mean.value, mean.low, mean.high)
        for column, value in zip(rows, values, strict=True):
            rows[column].append(value)
        return mean.in_unit("s")

    for number in np.unique(level):
        add(int(number), level == number)
    estimate = add(None, np.ones(seconds.size, bool))
    rows = {name: column[:-1] for name, column in rows.items()}
    sentence = (
        f"A piece takes {amount(estimate.value, 's')} from appearing to resting {limits(estimate)}, the mean of the "
        "players' medians."
    )
    return Finding(
        id="genres.pace", question=QUESTION, title="Time per piece", sentence=sentence, players=basis.players,
        runs=basis.runs, method="intervals", estimate=estimate, warnings=basis.warnings, tables={"levels": rows},
    )  # fmt: skip
