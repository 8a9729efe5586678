"""How long a life lasts and when it is in danger: of all, and of groups."""

import numpy as np
import pandas as pd

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.declared import Column, Declared, estimate_cells, estimate_columns
from analysis.findings.grouping import GROUPINGS, groupings, same_people
from analysis.findings.highest import Highest, against_rest, highest_part
from analysis.findings.survival.curves import CURVE, GROUP, GROUPS, curve_table, grouped, median_estimate
from analysis.reader import Columns
from analysis.stats.estimate import LEVEL, Estimate
from analysis.stats.lifetimes.clustered import restricted_mean_by_player, survival_by_player
from analysis.stats.lifetimes.compare import compare_builds
from analysis.stats.rates import deaths_in_bins, hazard_by_time, hazard_edges
from analysis.words import amount, counted, limits, percent

Array = np.ndarray
# Where the interval of the curve is known to be too short: see the coverage in METHODS.md.
_TAIL = 0.15
_FEW_FOR_THE_TAIL = 12
WHOLE = Declared(
    "survival.curve",
    "survival",
    "How long a life lasts",
    "survival_by_player",
    {"curve": CURVE},
    (
        Column("axis", "", "what time is counted in"),
        *estimate_columns("median", "s", "half of lives are over by then", "median_"),
        *estimate_columns("mean", "s", "mean of lives cut at `horizon`", "mean_"),
        Column("horizon", "s", "the longest life seen"),
    ),
)
HAZARD = Declared(
    "survival.hazard",
    "survival",
    "When a life is in danger",
    "hazard_by_time",
    {
        "hazard": (
            Column("start_s", "s", "seconds alive at which the stretch begins"),
            Column("end_s", "s", "seconds alive at which it ends"),
            *estimate_columns("rate_per_min", "deaths a minute", "deaths in it over time spent in it"),
            Column("deaths", "", "deaths in it"),
            Column("exposure_s", "s", "time spent in it by all players"),
            Column("players", "", "players who were in it"),
        )
    },
)
# How a life is said to be of a group, by what it is grouped by.
_OF = {"stage": "in", "build": "on", "attempt": "on", "group": "for", "first_time": "for"}
BY_GROUP = {
    key: Declared(
        f"survival.by_{key}",
        "survival",
        f"Survival by {name}",
        "survival_by_player",
        {
            "curves": (GROUP, *CURVE),
            "groups": (
                *GROUPS,
                Column("lives", "", "lives in it"),
                Column("deaths", "", "those that ended by a death"),
            ),
        },
        (Column("horizon", "s", "the longest time that every group reaches"),),
    )
    for key, name in GROUPINGS.items()
}


def _seconds(life: Columns) -> tuple[Array, Array, Array]:
    return life["alive_us"] / 1e6, life["ended_by"] == "death", life["player"]


def whole(life: Columns, basis: Basis) -> Finding:
    duration, died, player = _seconds(life)
    curve = survival_by_player(duration, died, player)
    median = median_estimate(curve, "s")
    mean = restricted_mean_by_player(duration, died, player, curve.last)
    lives, headline = f"{counted(duration.size, 'life', 'lives')} of {counted(curve.players, 'player')}", ""
    if not died.any():
        sentence = f"Nobody died in {lives}; the longest lasted {amount(curve.last, 's')} alive."
    elif median.value is None and not np.any(curve.surviving > 0.5):
        sentence = f"{int(died.sum())} of {lives} were seen to end; how long half of them last cannot be told."
    elif median.value is None:
        # Below one half the curve rests on a few players, or it never comes down so far.
        end = int(np.flatnonzero(curve.surviving > 0.5)[-1])
        left = curve.surviving[end]
        share = Estimate.known(left, curve.low[end], curve.high[end], unit="share")
        sentence = f"{percent(left)} of {lives} outlast {amount(float(curve.time[end]), 's')} alive {limits(share)}."
    else:
        sentence = f"Half of {lives} are over after {amount(median.value, 's')} alive {limits(median)}."
        headline = f"Half of the lives are over after {amount(median.value, 's')}."
    facts = {
        "axis": "seconds alive",
        **estimate_cells("median", median, "median_"),
        **estimate_cells("mean", mean, "mean_"),
        "horizon": curve.last,
    }
    warnings = basis.warnings
    if 1 < curve.players <= _FEW_FOR_THE_TAIL and curve.time.size and curve.surviving[-1] < _TAIL:
        warnings += (
            f"With {curve.players} players the end of the curve, below {percent(_TAIL)}, rests on the few who last "
            "long: where players differ much its intervals hold in only some 90 to 94 of 100. Do not read it off.",
        )
    tables = {"curve": curve_table(curve)}
    return WHOLE.finding(
        basis, sentence, median, tables, facts, players=curve.players, warnings=warnings, headline=headline
    )


def hazard(life: Columns, basis: Basis) -> Finding:
    duration, died, player = _seconds(life)
    edges = hazard_edges(duration, died)
    hazard = hazard_by_time(duration, died, player, edges)
    table = {
        "start_s": hazard.start,
        "end_s": hazard.end,
        "rate_per_min": 60 * hazard.value,
        "low": 60 * hazard.low,
        "high": 60 * hazard.high,
        "deaths": hazard.deaths,
        "exposure_s": hazard.exposure,
        "players": hazard.players,
    }
    known = np.flatnonzero(hazard.exposure > 0)
    headline, doubtful = "", False
    estimate, sentence = None, "No time alive was logged, so there is no hazard."
    if known.size:
        top = int(known[np.argmax(hazard.value[known])])
        rate, low, high = (60 * x[top] for x in (hazard.value, hazard.low, hazard.high))
        estimate = Estimate.known(rate, low, high, "deaths a minute")
        when = f"{amount(float(hazard.start[top]))} to {amount(float(hazard.end[top]), 's')} alive"
        sentence = f"In the first {amount(float(hazard.end[0]), 's')} alive players die {_rate_words(estimate)}."
        if hazard.start.size > 1:
            highest = _against_other_times(duration, died, player, edges, top)
            estimate = highest.rate(estimate)
            rest = against_rest(highest, "then", "at other times", f"{hazard.start.size} stretches")
            doubtful = highest.doubtful
            headline = f"A life is in more danger {when} than at other times."
            if doubtful:
                headline = "No time of a life is shown to be more dangerous than the others."
            sentence = f"Players die most often {when}: {_rate_words(estimate)}{rest}."
        if not died.any():
            sentence = f"Nobody died in {amount(float(hazard.exposure.sum()), 's')} alive {limits(estimate)}."
            headline = ""
    return HAZARD.finding(basis, sentence, estimate, {"hazard": table}, headline=headline, doubtful=doubtful)


def _rate_words(rate: Estimate) -> str:
    return f"{amount(rate.value)} times a minute {limits(rate)}"


def _against_other_times(duration: Array, died: Array, player: Array, edges: Array, top: int) -> Highest:
    """One stretch of the life against the others of the same players: the weak die early, which is no danger then."""
    inside, spent = deaths_in_bins(duration, died, edges)
    stretch = np.repeat(np.arange(len(inside)), duration.size)
    return highest_part(inside.ravel(), spent.ravel(), stretch, top, np.tile(player, len(inside)))


def by_stage(part: Columns, basis: Basis) -> list[Finding]:
    """From entering the stage or respawning in it, to the death there or leaving it."""
    return _grouped(part, ("stage",), basis)


def by_group(life: Columns, basis: Basis) -> list[Finding]:
    return _grouped(life, ("build", "attempt", "group", "first_time"), basis)


def _grouped(life: Columns, keys: tuple[str, ...], basis: Basis) -> list[Finding]:
    duration, died, player = _seconds(life)
    found = []
    for key, known, group in groupings(life, keys):
        warnings = basis.warnings + tuple(filter(None, [same_people(life)] if key == "first_time" else []))
        of_groups = grouped(duration[known], died[known], player[known], group)
        chance = _may_be_chance(of_groups[1], duration[known], died[known], player[known], group)
        found.append(_group_finding(key, *of_groups, chance, basis, warnings))
    return found


def _may_be_chance(rows: pd.DataFrame, duration: Array, died: Array, player: Array, group: Array) -> bool:
    """Whether the least and the most may differ by chance; corrected for all pairs of groups, as they were picked."""
    low, high = (rows["group"][i] for i in (rows["mean"].argmin(), rows["mean"].argmax()))
    pairs = len(rows) * (len(rows) - 1) / 2
    mine = (group == low) | (group == high)
    found = compare_builds(
        duration[mine],
        died[mine],
        player[mine],
        group[mine] == high,
        horizon=float(rows["horizon"][0]),
        level=1 - (1 - LEVEL) / pairs,
        most=1,
    )
    return found.difference.low is None or found.difference.low <= 0


def _group_finding(
    key: str, long: pd.DataFrame, rows: pd.DataFrame, chance: bool, basis: Basis, warnings: tuple[str, ...]
) -> Finding:
    def described(i: int) -> str:
        mean = Estimate.known(rows["mean"][i], rows["mean_low"][i], rows["mean_high"][i], "s")
        return f"{amount(mean.value, 's')} {_OF[key]} {rows['group'][i]} {limits(mean)}"

    low, high = int(rows["mean"].argmin()), int(rows["mean"].argmax())
    horizon = float(rows["horizon"][0])
    sentence = f"Of the first {amount(horizon, 's')}, lives last "
    if low == high or rows["mean"][low] == rows["mean"][high]:
        sentence += f"{amount(float(rows['mean'][low]), 's')} on average in each group."
    else:
        sentence += f"{described(low)} and {described(high)} on average"
        sentence += f", the least and the most of {len(rows)}" if len(rows) > 2 else ""
        sentence += ", which may be chance." if chance else "."
    tables = {"curves": long, "groups": rows}
    return BY_GROUP[key].finding(basis, sentence, tables=tables, facts={"horizon": horizon}, warnings=warnings)
