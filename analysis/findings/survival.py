"""How long players last.

A life runs from (re)spawn, or from entering the chosen stage, to the death; what ends otherwise (stage or
game finished, quit, log cut) is censored there. Times are seconds alive: pauses and waiting to respawn do not
count.

Ids and their tables (columns of one length; NaN or None where nothing can be said):

survival.curve    curve: time (s), surviving, low, high, at_risk, deaths, players_at_risk.
                  facts: axis ("seconds alive"), median, median_low, median_high, mean, mean_low, mean_high,
                  horizon.
survival.hazard   hazard: start_s, end_s, rate_per_min, low, high, deaths, exposure_s, players.
survival.funnel   segments: stage, stage_kind, name, entered (runs), players, cleared, died_out, quit, cut,
reach, low,
                  high (share of all runs that entered), first_reach, first_low, first_high (the same of first
                  attempts), clear, clear_low, clear_high (share of those who entered and neither quit nor
                  were cut), deaths_per_visit, lives_in, tier_in.
survival.ends     incidence: end (game_over, quit, finished), time (s), share, low, high. ends: end, runs,
players. survival.by_stage, .by_build, .by_attempt, .by_group, .by_first_time
                  curves: group + the columns of survival.curve; groups: group, players, lives, deaths,
                  median, median_low, median_high, mean, mean_low, mean_high, horizon.
survival.builds   pairs: see builds.py.  survival.risks  factors: see risks.py.  survival.on_*: see axes.py.
"""

from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings import axes, builds, risks
from analysis.findings.basis import NO_RUNS, Basis, nothing, read_basis
from analysis.findings.curves import curve_table, grouped, median_estimate
from analysis.findings.grouping import GROUPINGS, groupings
from analysis.findings.highest import against_rest
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.clustered import restricted_mean_by_player, survival_by_player
from analysis.stats.competing import cumulative_incidence
from analysis.stats.estimate import Estimate
from analysis.stats.learning import LogRateRatio, part_against_rest
from analysis.stats.proportions import share_by_player
from analysis.stats.rates import deaths_in_bins, hazard_by_time, hazard_edges
from analysis.words import amount, counted, limits, percent, stage_name

QUESTION = "survival"
Array = np.ndarray
# Where the interval of the curve is known to be too short: see the coverage in METHODS.md.
_TAIL = 0.15
_FEW_FOR_THE_TAIL = 12


def find(reader: Reader, selection: Selection) -> list[Finding]:
    """The findings on survival; one that says why where there can be none."""
    basis = read_basis(reader, selection)
    if not basis.runs:
        return [nothing(QUESTION, NO_RUNS)]
    life = reader.ask_chosen("lives", selection, by_stage=False)
    found = []
    if "death" in basis.roles and life["run_id"].size:
        found += [_curve(life, basis), _hazard(life, basis)]
    found.append(_funnel(reader.ask_chosen("stage_visits", selection), basis))
    found.append(_ends(basis))
    if "death" in basis.roles and life["run_id"].size:
        found += _by_stage(reader.ask_chosen("lives", selection, by_stage=True), basis)
        found += _groups(life, basis)
        found += builds.find(reader, selection, life, basis) + risks.find(reader, selection, basis)
    return found + axes.find(reader, selection, basis)


def _seconds(life: Columns) -> tuple[Array, Array, Array]:
    return life["alive_us"] / 1e6, life["ended_by"].astype(str) == "death", life["player"].astype(str)


def _curve(life: Columns, basis: Basis) -> Finding:
    duration, died, player = _seconds(life)
    curve = survival_by_player(duration, died, player)
    median = median_estimate(curve, "s")
    mean = restricted_mean_by_player(duration, died, player, curve.last)
    lives = f"{counted(duration.size, 'life', 'lives')} of {counted(curve.players, 'player')}"
    if not died.any():
        sentence = f"Nobody died in {lives}; the longest lasted {amount(curve.last, 's')} alive."
    elif median.value is None:
        left, left_low, left_high = curve.surviving[-1], curve.low[-1], curve.high[-1]
        share = Estimate(float(left), *_limits(left_low, left_high), unit="share")
        sentence = (
            f"{percent(left)} of {lives} outlast {amount(float(curve.time[-1]), 's')} alive {limits(share)}."
        )
    else:
        sentence = f"Half of {lives} are over after {amount(median.value, 's')} alive {limits(median)}."
    facts = {
        "axis": "seconds alive", "median": median.value, "median_low": median.low, "median_high": median.high,
        "mean": mean.value, "mean_low": mean.low, "mean_high": mean.high, "horizon": curve.last,
    }  # fmt: skip
    warnings = basis.warnings
    if 1 < curve.players <= _FEW_FOR_THE_TAIL and curve.time.size and curve.surviving[-1] < _TAIL:
        warnings += (
            f"With {curve.players} players the end of the curve, below {percent(_TAIL)}, rests on the few who last "
            "long: where players differ much its intervals hold in only some 90 to 94 of 100. Do not read it off.",
        )
    return Finding(
        id="survival.curve", question=QUESTION, title="How long a life lasts", sentence=sentence,
        players=curve.players, runs=basis.runs, method="survival_by_player", estimate=median,
        warnings=warnings, tables={"curve": curve_table(curve)}, facts=facts,
    )  # fmt: skip


def _limits(low: float, high: float) -> tuple[float | None, float | None]:
    return (None if np.isnan(low) else float(low)), (None if np.isnan(high) else float(high))


def _hazard(life: Columns, basis: Basis) -> Finding:
    duration, died, player = _seconds(life)
    edges = hazard_edges(duration, died)
    hazard = hazard_by_time(duration, died, player, edges)
    table = {
        "start_s": hazard.start, "end_s": hazard.end, "rate_per_min": 60 * hazard.value, "low": 60 * hazard.low,
        "high": 60 * hazard.high, "deaths": hazard.deaths, "exposure_s": hazard.exposure, "players": hazard.players,
    }  # fmt: skip
    known = np.flatnonzero(hazard.exposure > 0)
    estimate, sentence = None, "No time alive was logged, so there is no hazard."
    if known.size:
        top = int(known[np.argmax(hazard.value[known])])
        low, high = _limits(60 * hazard.low[top], 60 * hazard.high[top])
        estimate = Estimate(float(60 * hazard.value[top]), low, high, unit="deaths a minute")
        when = f"{amount(float(hazard.start[top]))} to {amount(float(hazard.end[top]), 's')} alive"
        sentence = (
            f"In the first {amount(float(hazard.end[0]), 's')} alive players die {_rate_words(estimate)}."
        )
        if hazard.start.size > 1:
            rest = against_rest(
                _against_other_times(duration, died, player, edges, top), "then", "at other times",
                f"{hazard.start.size} stretches",
            )  # fmt: skip
            sentence = f"Players die most often {when}: {_rate_words(estimate)}{rest}."
        if not died.any():
            sentence = f"Nobody died in {amount(float(hazard.exposure.sum()), 's')} alive {limits(estimate)}."
    return Finding(
        id="survival.hazard", question=QUESTION, title="When a life is in danger", sentence=sentence,
        players=basis.players, runs=basis.runs, method="hazard_by_time", estimate=estimate,
        warnings=basis.warnings, tables={"hazard": table},
    )  # fmt: skip


def _rate_words(rate: Estimate) -> str:
    return f"{amount(rate.value)} times a minute {limits(rate)}"


def _against_other_times(
    duration: Array, died: Array, player: Array, edges: Array, top: int
) -> LogRateRatio | None:
    """One stretch of the life against the others of the same players: the weak die early, which is no danger then."""
    inside, spent = deaths_in_bins(duration, died, edges)
    stretch = np.repeat(np.arange(len(inside)), duration.size)
    return part_against_rest(inside.ravel(), spent.ravel(), stretch, top, np.tile(player, len(inside)))


def _funnel(visit: Columns, basis: Basis) -> Finding:
    run, first = basis.run["run_id"], basis.run["attempt"] == 1
    player = basis.run["player"].astype(str)
    rows: dict[str, list[Any]] = {}
    last: tuple[str, Estimate] | None = None
    worst: tuple[float, str, Estimate] | None = None
    reached = _reached(visit, basis.run)
    for stage, kind in sorted(set(zip(visit["stage"].tolist(), visit["stage_kind"].tolist(), strict=True))):
        mine = (visit["stage"] == stage) & (visit["stage_kind"] == kind)
        outcome = visit["outcome"][mine].astype(str)
        ran = reached[2 * stage + kind]
        reach = share_by_player(ran, np.ones(run.size), player)
        early = share_by_player(ran[first], np.ones(int(first.sum())), player[first])
        settled = np.isin(outcome, ("cleared", "died_out", "left"))
        clear = share_by_player(
            outcome[settled] == "cleared",
            np.ones(int(settled.sum())),
            visit["player"][mine][settled].astype(str),
        )
        row = {
            "stage": stage, "stage_kind": kind, "name": stage_name(stage, kind), "entered": int(ran.sum()),
            "players": int(np.unique(player[ran]).size), "cleared": int(np.sum(outcome == "cleared")),
            "died_out": int(np.sum(outcome == "died_out")), "quit": int(np.sum(outcome == "quit")),
            "cut": int(np.sum(outcome == "cut")), "reach": reach.value, "low": reach.low, "high": reach.high,
            "first_reach": early.value, "first_low": early.low, "first_high": early.high,
            "clear": clear.value, "clear_low": clear.low, "clear_high": clear.high,
            "deaths_per_visit": float(visit["deaths"][mine].mean()),
            "lives_in": _mean(visit["lives_in"][mine]), "tier_in": _mean(visit["tier_in"][mine]),
        }  # fmt: skip
        for name, value in row.items():
            rows.setdefault(name, []).append(value)
        last = str(row["name"]), reach
        if clear.value is not None and (worst is None or clear.value < worst[0]):
            worst = clear.value, last[0], clear
    if last is None:
        sentence, estimate = "No stage was entered in these runs.", None
    elif len(rows["name"]) == 1 and worst:
        estimate = worst[2]
        done = f"{percent(worst[0])} of the visits that were played out, of {basis.size} in all,"
        sentence = f"{done} got through {worst[1]} {limits(worst[2])}."
    else:
        estimate = last[1]
        sentence = f"{percent(estimate.value)} of {basis.size} reach {last[0]} {limits(estimate)}."
        if worst and len(rows["name"]) > 1:
            least = f"in {percent(worst[0])} of the visits that were played out {limits(worst[2])}"
            sentence = f"{sentence[:-1]}; {worst[1]} is cleared least often, {least}."
    cut, warnings = int(np.sum(basis.run["ending"].astype(str) == "cut")), basis.warnings
    if cut:
        warnings += (
            f"{counted(cut, 'cut run')} might have got further: shares that reach a part are at least these.",
        )
    return Finding(
        id="survival.funnel", question=QUESTION, title="How far runs get", sentence=sentence, players=basis.players,
        runs=basis.runs, method="share_by_player", estimate=estimate, warnings=warnings,
        tables={"segments": rows},
    )  # fmt: skip


def _reached(visit: Columns, run: Columns) -> dict[int, np.ndarray]:
    """Which runs came to each part of the game, by 2 * stage + kind.

    Where every whole run begins with one part, a damaged run came to that part, and to all between it and the furthest
    it was seen in: the event that began them was lost, not skipped.
    """
    part = 2 * visit["stage"].astype(int) + visit["stage_kind"].astype(int)
    number = {int(run_id): i for i, run_id in enumerate(run["run_id"])}
    row = np.array([number[int(run_id)] for run_id in visit["run_id"]], int)
    reached = {int(one): np.isin(np.arange(len(number)), row[part == one]) for one in np.unique(part)}
    damaged = run["damaged"] == 1
    opening = np.r_[True, row[1:] != row[:-1]] & ~damaged[row]
    if np.unique(part[opening]).size == 1:
        begin = int(part[opening][0])
        furthest = np.full(len(number), begin)
        np.maximum.at(furthest, row, part)
        for one, came in reached.items():
            came |= damaged & (begin <= one) & (one <= furthest)
    return reached


def _mean(column: np.ndarray) -> float | None:
    known = column[np.isfinite(column)]
    return float(known.mean()) if known.size else None


def _ends(basis: Basis) -> Finding:
    ending = basis.run["ending"].astype(str)
    player, duration = basis.run["player"].astype(str), basis.run["alive_us"] / 1e6
    code = {"game_over": 1, "quit": 2, "finished": 3}
    cause = np.array([code.get(end, 0) for end in ending])
    long: dict[str, list[Any]] = {name: [] for name in ("end", "time", "share", "low", "high")}
    for end, number in code.items():
        incidence = cumulative_incidence(duration, cause, player, number)
        steps = incidence.time.size
        # No more points than a screen is wide.
        shown = np.unique(np.linspace(0, steps - 1, min(400, steps)).round().astype(int))
        for name in ("time", "share", "low", "high"):
            long[name] += getattr(incidence, name)[shown].tolist()
        long["end"] += [end] * len(shown)
    ends = {
        "end": [*code, "cut"],
        "runs": [int(np.sum(ending == end)) for end in (*code, "cut")],
        "players": [int(np.unique(player[ending == end]).size) for end in (*code, "cut")],
    }
    quits = share_by_player(ending == "quit", np.ones(ending.size), player)
    estimate = quits
    over, done, cut = (int(np.sum(ending == end)) for end in ("game_over", "finished", "cut"))
    sentence = (
        f"Of {basis.size}, {over} ended in game over, {done} were finished, {cut} were cut, "
        f"and {percent(quits.value)} were given up {limits(estimate)}."
    )
    return Finding(
        id="survival.ends", question=QUESTION, title="How runs end", sentence=sentence, players=basis.players,
        runs=basis.runs, method="cumulative_incidence", estimate=estimate, warnings=basis.warnings,
        tables={"incidence": long, "ends": ends},
    )  # fmt: skip


def _by_stage(part: Columns, basis: Basis) -> list[Finding]:
    """From entering the stage or respawning in it, to the death there or leaving it."""
    return _grouped(part, ("stage",), basis)


def _groups(life: Columns, basis: Basis) -> list[Finding]:
    return _grouped(life, ("build", "attempt", "group", "first_time"), basis)


def _grouped(life: Columns, keys: tuple[str, ...], basis: Basis) -> list[Finding]:
    duration, died, player = _seconds(life)
    return [
        _group_finding(key, *grouped(duration[known], died[known], player[known], group), basis)
        for key, known, group in groupings(life, keys)
    ]


def _group_finding(key: str, long: dict[str, list[Any]], rows: dict[str, list[Any]], basis: Basis) -> Finding:
    mean = np.array(rows["mean"], float)
    low, high = int(np.argmin(mean)), int(np.argmax(mean))

    def described(i: int) -> str:
        estimate = Estimate(mean[i], rows["mean_low"][i], rows["mean_high"][i], unit="s")
        return f"{amount(mean[i], 's')} in {rows['group'][i]} {limits(estimate)}"

    horizon = float(rows["horizon"][0])
    return Finding(
        id=f"survival.by_{key}", question=QUESTION, title=f"Survival by {GROUPINGS[key]}",
        sentence=f"Of the first {amount(horizon, 's')}, lives last {described(low)} and {described(high)} on average.",
        players=basis.players, runs=basis.runs, method="survival_by_player", warnings=basis.warnings,
        tables={"curves": long, "groups": rows}, facts={"horizon": horizon},
    )  # fmt: skip
