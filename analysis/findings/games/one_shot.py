"""One shot at a time: streaks, speed against accuracy, consistency."""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.declared import Column, Declared, estimate_cells, estimate_columns
from analysis.findings.survival.curves import CURVE, curve_table, median_estimate
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.doseresponse import DoseResponse, dose_response
from analysis.stats.estimate import Estimate
from analysis.stats.lifetimes.clustered import survival_by_player
from analysis.stats.players.ranks import rank_correlation
from analysis.stats.players.within_player import mean_of_players
from analysis.stats.proportions import share_by_player
from analysis.stats.streaks import streaks
from analysis.words import amount, counted, limits, percent

Array = np.ndarray
_SPEEDS = 8
_SHOTS = 20
STREAKS = Declared(
    "genres.streaks",
    "genres",
    "Shots until the first miss",
    "streaks",
    {
        "curve": CURVE,
        "hazard": (
            Column("shot", "", "which shot of a streak"),
            Column("shots", "", "streaks that came so far"),
            Column("misses", "", "those in which it missed"),
            *estimate_columns("share", "share", "misses over shots"),
        ),
    },
    (
        Column("median", "shots", "half of the streaks have met a miss by then"),
        Column("longest", "", "the most hits in a row"),
    ),
)
AIM = Declared(
    "genres.aim",
    "genres",
    "Speed against accuracy",
    "dose_response",
    {
        "speeds": (
            Column("speed", "as logged", "mean speed of the target in one of eight groups of shots"),
            Column("shots", "", "shots in it"),
            *estimate_columns("share", "share", "those that hit"),
            Column("error_sd", "as logged", "standard deviation of how far the shots were off"),
        ),
        "curve": (
            Column("speed", "as logged", "speed of the target"),
            *estimate_columns("chance", "share", "chance of a hit by the fitted logistic curve"),
        ),
    },
    (
        Column("intercept", "log odds", "of a hit at speed 0"),
        *estimate_columns("slope", "log odds", "for one unit of speed more", "slope_"),
        *estimate_columns(
            "half_speed", "as logged", "speed at which half of the shots hit, among those played", "half_"
        ),
    ),
)
INTERVALS = Declared(
    "genres.intervals",
    "genres",
    "Steadiness",
    "intervals",
    {
        "players": (
            Column("player", "", "who"),
            Column("shots", "", "the player's shots"),
            Column("interval_s", "s", "median time between two shots of a run"),
            Column("variation", "of the mean", "standard deviation of that time over its mean"),
            Column("hit_share", "share", "shots that hit"),
        )
    },
    estimate_columns("correlation", "", "rank correlation of variation with the share of hits"),
)


def find(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    """As far as the fields of the trials go."""
    trial = reader.ask_chosen("trials", selection)
    known = np.isfinite(trial["success"])
    trial = trial.where(known)
    if not trial["run_id"].size:
        return []
    found = [_streaks(trial, basis)]
    speed = trial["speed"]
    if np.unique(speed[np.isfinite(speed)]).size > 1:
        found.append(_aim(trial, basis))
    intervals = _intervals(trial, basis)
    return found + ([intervals] if intervals else [])


def _streaks(trial: Columns, basis: Basis) -> Finding:
    success, player = trial["success"] > 0, trial["player"]
    streak = streaks(success, trial["run_id"])
    owner = dict(zip(trial["run_id"].tolist(), player.tolist(), strict=True))
    who = np.array([owner[run] for run in streak.run.tolist()])
    curve = survival_by_player(streak.shots, streak.missed, who)
    rows = []
    for shot in range(1, min(int(streak.shots.max()), _SHOTS) + 1):
        taken = streak.shots >= shot
        missed = (streak.shots == shot) & streak.missed
        share = share_by_player(missed[taken], np.ones(int(taken.sum())), who[taken])
        rows.append(
            {"shot": shot, "shots": int(taken.sum()), "misses": int(missed.sum()), **estimate_cells("share", share)}
        )
    median, longest = median_estimate(curve, "shots"), int((streak.shots - streak.missed).max())
    size = f"{counted(streak.shots.size, 'streak')} of {counted(curve.players, 'player')}"
    most = counted(longest, "hit")
    headline = ""
    if median.value is None:
        sentence = f"{int(streak.missed.sum())} of {size} met a miss before the run ended; the longest had {most}."
    else:
        met = f"have met a miss by shot {amount(median.value)} {limits(median)}"
        sentence = f"Half of {size} {met}; the longest had {most}."
        headline = f"Half of the streaks have met a miss by shot {amount(median.value)}."
    tables = {"curve": curve_table(curve), "hazard": rows}
    facts = {"median": median.value, "longest": longest}
    return STREAKS.finding(basis, sentence, median, tables, facts, players=curve.players, headline=headline)


def _aim(trial: Columns, basis: Basis) -> Finding:
    known = np.isfinite(trial["speed"])
    speed, success = trial["speed"][known], trial["success"][known] > 0
    player, error = trial["player"][known], trial["error"][known]
    tables: dict[str, Any] = {"speeds": _speeds(speed, success, player, error)}
    fit = dose_response(speed, success, np.ones(speed.size), player)
    if fit is None or not fit.converged:
        sentence = "Too few players, speeds, hits or misses to say how accuracy falls with speed."
        return AIM.finding(basis, sentence, tables=tables)
    grid = np.linspace(speed.min(), speed.max(), 60)
    chance, lower, upper = fit.chance(grid)
    tables["curve"] = {"speed": grid, "chance": chance, "low": lower, "high": upper}
    step = 10 ** np.floor(np.log10(max(np.ptp(speed), 1e-9)))
    estimate = fit.slope.times(step, "").exp("times")
    half = _within(fit.half, float(speed.min()), float(speed.max()))
    sentence = (
        f"With a target faster by {amount(step)} the odds of a hit are {amount(estimate.value)} times as large "
        f"{limits(estimate)}"
    )
    if half.low is not None or half.high is not None:
        sentence += f"; half of the shots hit at speed {amount(half.value)} {limits(half)}"
    return AIM.finding(basis, f"{sentence}.", estimate, tables, _fitted(fit, half))


def _within(half: Estimate, slowest: float, fastest: float) -> Estimate:
    """What lies among the speeds that were played: beyond them the curve is a guess, and the interval open."""
    if half.value is None or not slowest <= half.value <= fastest:
        return Estimate(None, level=half.level, players=half.players)
    low = half.low if half.low is not None and half.low >= slowest else None
    high = half.high if half.high is not None and half.high <= fastest else None
    return replace(half, low=low, high=high)


def _fitted(fit: DoseResponse, half: Estimate) -> dict[str, float | None]:
    return {
        "intercept": fit.intercept,
        **estimate_cells("slope", fit.slope, "slope_"),
        **estimate_cells("half_speed", half, "half_"),
    }


def _speeds(speed: Array, success: Array, player: Array, error: Array) -> list[dict[str, Any]]:
    """Shots in groups of about one size, by the speed of the target."""
    edges = np.unique(np.quantile(speed, np.linspace(0, 1, _SPEEDS + 1)))
    place = np.clip(np.searchsorted(edges, speed, side="right") - 1, 0, max(edges.size - 2, 0))
    rows = []
    for group in np.unique(place):
        mine = place == group
        share = share_by_player(success[mine], np.ones(int(mine.sum())), player[mine])
        off = error[mine][np.isfinite(error[mine])]
        rows.append(
            {
                "speed": float(speed[mine].mean()),
                "shots": int(mine.sum()),
                **estimate_cells("share", share),
                "error_sd": float(off.std(ddof=1)) if off.size > 1 else None,
            }
        )
    return rows


def _intervals(trial: Columns, basis: Basis) -> Finding | None:
    shot = pd.DataFrame({"player": trial["player"], "hit": trial["success"] > 0})
    shot["gap_s"] = pd.Series(trial["at_us"]).groupby(trial["run_id"]).diff() / 1e6
    by_player = shot.groupby("player")
    gap = by_player["gap_s"]
    table = pd.DataFrame(
        {
            "shots": by_player.size(),
            "interval_s": gap.median(),
            "variation": gap.std() / gap.mean(),
            "hit_share": by_player["hit"].mean(),
        }
    )
    table = table[(gap.count() >= 3) & (gap.mean() > 0)].reset_index()
    if table.empty:
        return None
    mean = mean_of_players(table["variation"].to_numpy())
    estimate = mean.in_unit("of the mean")
    with_hits = rank_correlation(table["variation"].to_numpy(), table["hit_share"].to_numpy())
    sentence = (
        f"The time between two shots of a player varies by {percent(mean.value)} of its mean, averaged over "
        f"{counted(len(table), 'player')} {limits(mean.in_unit('share'))}"
    )
    if with_hits.value is not None:
        own = f"{amount(with_hits.value)} {limits(with_hits)}"
        sentence += f"; with the share of hits it has a rank correlation of {own}"
    facts = estimate_cells("correlation", with_hits)
    return INTERVALS.finding(basis, f"{sentence}.", estimate, {"players": table}, facts, players=len(table))
