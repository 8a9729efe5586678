"""One shot at a time: streaks, speed against accuracy, consistency. Called by genres.py.

genres.streaks    curve: time (shots), surviving, low, high, at_risk, deaths, players_at_risk (as
survival.curve);
                  hazard: shot (n-th of a streak), shots, misses, share, low, high. facts: median, longest.
genres.aim        curve: speed, chance, low, high (the fitted logistic curve); speeds: speed, shots, share,
low, high,
                  error_sd. facts: intercept, slope, half_speed, half_low, half_high.
genres.intervals  players: player, shots, interval_s (median), variation (coefficient), hit_share. facts: the
rank
                  correlation of variation with hit_share: correlation, low, high.
"""

from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.survival.curves import curve_table, median_estimate
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.clustered import survival_by_player
from analysis.stats.doseresponse import dose_response
from analysis.stats.proportions import share_by_player
from analysis.stats.ranks import rank_correlation
from analysis.stats.streaks import streaks
from analysis.stats.within_player import mean_of_players
from analysis.words import amount, counted, limits, percent

QUESTION = "genres"
Array = np.ndarray
_SPEEDS = 8
_SHOTS = 20


def find(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    """As far as the fields of the trials go."""
    trial = reader.ask_chosen("trials", selection)
    known = np.isfinite(trial["success"].astype(float))
    trial = {name: column[known] for name, column in trial.items()}
    if not trial["run_id"].size:
        return []
    found = [_streaks(trial, basis)]
    if np.unique(trial["speed"][np.isfinite(trial["speed"].astype(float))]).size > 1:
        found.append(_aim(trial, basis))
    intervals = _intervals(trial, basis)
    return found + ([intervals] if intervals else [])


def _streaks(trial: Columns, basis: Basis) -> Finding:
    success, player = trial["success"] > 0, trial["player"].astype(str)
    streak = streaks(success, trial["run_id"])
    owner = dict(zip(trial["run_id"].tolist(), player.tolist(), strict=True))
    who = np.array([owner[run] for run in streak.run.tolist()])
    curve = survival_by_player(streak.shots, streak.missed, who)
    rows: dict[str, list[Any]] = {name: [] for name in ("shot", "shots", "misses", "share", "low", "high")}
    for shot in range(1, min(int(streak.shots.max()), _SHOTS) + 1):
        taken = streak.shots >= shot
        missed = (streak.shots == shot) & streak.missed
        share = share_by_player(missed[taken], np.ones(int(taken.sum())), who[taken])
        values = (shot, int(taken.sum()), int(missed.sum()), share.value, share.low, share.high)
        for name, value in zip(rows, values, strict=True):
            rows[name].append(value)
    median, longest = median_estimate(curve, "shots"), int((streak.shots - streak.missed).max())
    size = f"{counted(streak.shots.size, 'streak')} of {counted(curve.players, 'player')}"
    if median.value is None:
        most = counted(longest, "hit")
        sentence = f"More than half of {size} met no miss before the run ended; the longest had {most}."
    else:
        sentence = (
            f"Half of {size} have met a miss by shot {amount(median.value)} {limits(median)}; the longest had "
            f"{counted(longest, 'hit')}."
        )
    return Finding(
        id="genres.streaks", question=QUESTION, title="Shots until the first miss", sentence=sentence,
        players=curve.players, runs=basis.runs, method="streaks", estimate=median, warnings=basis.warnings,
        tables={"curve": curve_table(curve), "hazard": rows}, facts={"median": median.value, "longest": longest},
    )  # fmt: skip


def _aim(trial: Columns, basis: Basis) -> Finding:
    known = np.isfinite(trial["speed"].astype(float))
    speed, success = trial["speed"][known].astype(float), trial["success"][known] > 0
    player, error = trial["player"][known].astype(str), trial["error"][known].astype(float)
    edges = np.unique(np.quantile(speed, np.linspace(0, 1, _SPEEDS + 1)))
    place = np.clip(np.searchsorted(edges, speed, side="right") - 1, 0, max(edges.size - 2, 0))
    rows: dict[str, list[Any]] = {name: [] for name in ("speed", "shots", "share", "low", "high", "error_sd")}
    for bin_ in np.unique(place):
        mine = place == bin_
        share = share_by_player(success[mine], np.ones(int(mine.sum())), player[mine])
        off = error[mine][np.isfinite(error[mine])]
        sd = float(off.std(ddof=1)) if off.size > 1 else None
        for name, value in zip(
            rows,
            (float(speed[mine].mean()), int(mine.sum()), share.value, share.low, share.high, sd),
            strict=True,
        ):
            rows[name].append(value)
    fit = dose_response(speed, success, np.ones(speed.size), player)
    tables: dict[str, dict[str, Any]] = {"speeds": rows}
    facts: dict[str, Any] = {}
    estimate = None
    if fit is None or not fit.converged:
        sentence = "Too few players, speeds or misses to say how accuracy falls with speed."
    else:
        grid = np.linspace(speed.min(), speed.max(), 60)
        chance, lower, upper = fit.chance(grid)
        tables["curve"] = {"speed": grid, "chance": chance, "low": lower, "high": upper}
        slope, half = fit.slope, fit.half
        facts = {
            "intercept": fit.intercept, "slope": slope.value, "slope_low": slope.low, "slope_high": slope.high,
            "half_speed": half.value, "half_low": half.low, "half_high": half.high,
        }  # fmt: skip
        step = 10 ** np.floor(np.log10(max(np.ptp(speed), 1e-9)))
        estimate = slope.times(step, "").exp("times")
        sentence = (
            f"With a target faster by {amount(step)} the odds of a hit are {amount(estimate.value)} times as large "
            f"{limits(estimate)}"
        )
        if half.value is not None and half.low is not None and speed.min() <= half.value <= speed.max():
            sentence += f"; half of the shots hit at speed {amount(half.value)} {limits(half)}"
        sentence += "."
    return Finding(
        id="genres.aim", question=QUESTION, title="Speed against accuracy", sentence=sentence, players=basis.players,
        runs=basis.runs, method="dose_response", estimate=estimate, warnings=basis.warnings, tables=tables, facts=facts,
    )  # fmt: skip


def _intervals(trial: Columns, basis: Basis) -> Finding | None:
    same = trial["run_id"][1:] == trial["run_id"][:-1]
    gap = (np.diff(trial["at_us"]) / 1e6)[same]
    who = trial["player"].astype(str)
    gap_player = who[1:][same]
    rows: dict[str, list[Any]] = {n: [] for n in ("player", "shots", "interval_s", "variation", "hit_share")}
    for name in np.unique(who):
        own = gap[gap_player == name]
        if own.size < 3 or own.mean() <= 0:
            continue
        mine = who == name
        values = (name, int(mine.sum()), float(np.median(own)), float(own.std(ddof=1) / own.mean()),
                  float(np.mean(trial["success"][mine] > 0)))  # fmt: skip
        for column, value in zip(rows, values, strict=True):
            rows[column].append(value)
    if not rows["player"]:
        return None
    mean = mean_of_players(np.array(rows["variation"], float))
    estimate = mean.in_unit("of the mean")
    with_hits = rank_correlation(np.array(rows["variation"]), np.array(rows["hit_share"]))
    sentence = (
        f"The time between two shots of a player varies by {percent(mean.value)} of its mean, averaged over "
        f"{counted(len(rows['player']), 'player')} {limits(estimate)}"
    )
    if with_hits.value is not None:
        with_interval = limits(with_hits)
        sentence += (
            f"; with the share of hits it has a rank correlation of {amount(with_hits.value)} {with_interval}"
        )
    return Finding(
        id="genres.intervals", question=QUESTION, title="Steadiness", sentence=sentence + ".",
        players=len(rows["player"]), runs=basis.runs, method="intervals", estimate=estimate, warnings=basis.warnings,
        tables={"players": rows}, facts={"correlation": with_hits.value, "low": with_hits.low, "high": with_hits.high},
    )  # fmt: skip
