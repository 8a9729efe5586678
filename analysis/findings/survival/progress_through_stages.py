"""How far runs get, and how they end."""

from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings.basis import SOON_S, Basis
from analysis.findings.declared import PART, Column, Declared, estimate_cells, estimate_columns
from analysis.findings.survival.curves import MOST_POINTS
from analysis.reader import Columns
from analysis.stats.estimate import Estimate
from analysis.stats.lifetimes.competing import cumulative_incidence
from analysis.stats.proportions import Share, share_by_player
from analysis.words import capital, counted, limits, percent, stage_name

FUNNEL = Declared(
    "survival.funnel",
    "survival",
    "How far runs get",
    "share_by_player",
    {
        "segments": (
            *PART,
            Column("entered", "", "runs that came to it"),
            Column("players", "", "players of these runs"),
            Column("cleared", "", "visits that got through it"),
            Column("died_out", "", "visits that ended in game over"),
            Column("quit", "", "visits that were given up"),
            Column("quit_at_death", "", f"of these, those given up within {SOON_S:.0f} s of a death"),
            Column("cut", "", "visits during which the log ends"),
            *estimate_columns("reach", "share", "of all runs, those that came to it"),
            *estimate_columns("first_reach", "share", "of first attempts, those that came to it", "first_"),
            *estimate_columns(
                "clear",
                "share",
                "of visits not cut, nor given up for another reason than a death, those cleared",
                "clear_",
            ),
            Column("deaths_per_visit", "", "mean deaths in a visit"),
            Column("lives_in", "lives", "mean lives on entering"),
            Column("tier_in", "", "mean tier on entering"),
        )
    },
)
ENDS = Declared(
    "survival.ends",
    "survival",
    "How runs end",
    "cumulative_incidence",
    {
        "incidence": (
            Column("end", "", "how a run ended: game_over, quit or finished; none without such a run"),
            Column("time", "s", "seconds alive: 0, then each time from the first such end on"),
            *estimate_columns("share", "share", "of all runs, those that have ended so by then"),
        ),
        "ends": (
            Column("end", "", "how a run ended; cut: the log ends during it"),
            Column("runs", "", "runs that ended so"),
            Column("players", "", "players of these runs"),
        ),
    },
)


def funnel(visit: Columns, basis: Basis) -> Finding:
    run, first = basis.run["run_id"], basis.run["attempt"] == 1
    player = basis.run["player"]
    rows: list[dict[str, Any]] = []
    last: tuple[str, Estimate] | None = None
    worst: tuple[float, str, Share, int] | None = None
    reached = _reached(visit, basis.run)
    for stage, kind in sorted(set(zip(visit["stage"].tolist(), visit["stage_kind"].tolist(), strict=True))):
        mine = (visit["stage"] == stage) & (visit["stage_kind"] == kind)
        outcome = visit["outcome"][mine]
        ran = reached[2 * stage + kind]
        reach = share_by_player(ran, np.ones(run.size), player)
        early = share_by_player(ran[first], np.ones(int(first.sum())), player[first])
        soon = (outcome == "quit") & (visit["since_death_s"][mine] < SOON_S)
        settled = np.isin(outcome, ("cleared", "died_out", "left")) | soon
        clear = share_by_player(
            outcome[settled] == "cleared", np.ones(int(settled.sum())), visit["player"][mine][settled].astype(str)
        )
        row = {
            "stage": stage,
            "stage_kind": kind,
            "name": stage_name(stage, kind),
            "entered": int(ran.sum()),
            "players": int(np.unique(player[ran]).size),
            "cleared": int(np.sum(outcome == "cleared")),
            "died_out": int(np.sum(outcome == "died_out")),
            "quit": int(np.sum(outcome == "quit")),
            "quit_at_death": int(soon.sum()),
            "cut": int(np.sum(outcome == "cut")),
            **estimate_cells("reach", reach),
            **estimate_cells("first_reach", early, "first_"),
            **estimate_cells("clear", clear, "clear_"),
            "deaths_per_visit": float(visit["deaths"][mine].mean()),
            "lives_in": _mean(visit["lives_in"][mine]),
            "tier_in": _mean(visit["tier_in"][mine]),
        }
        rows.append(row)
        last = str(row["name"]), reach
        if clear.value is not None and (worst is None or clear.value < worst[0]):
            worst = clear.value, last[0], clear, int(soon.sum())
    estimate: Estimate | None
    if last is None:
        sentence, estimate = "No stage was entered in these runs.", None
    elif len(rows) == 1 and worst:
        estimate = worst[2]
        done = f"{percent(worst[0])} of {_ended(worst[2].trials, worst[3])}, of {basis.size} in all,"
        sentence = f"{done} got through {worst[1]} {limits(worst[2])}."
    else:
        estimate = last[1]
        sentence = f"{percent(estimate.value)} of {basis.size} reach {last[0]} {limits(estimate)}."
        if worst and len(rows) > 1:
            least = f"in {percent(worst[0])} of {_ended(worst[2].trials, worst[3])} {limits(worst[2])}"
            sentence = f"{sentence[:-1]}; {worst[1]} is cleared least often, {least}."
    cut, warnings = int(np.sum(basis.run["ending"] == "cut")), basis.warnings
    if cut:
        warnings += (f"{counted(cut, 'cut run')} might have got further: shares that reach a part are at least these.",)
    headline = ""
    if last is not None and len(rows) > 1:
        headline = f"{capital(percent(last[1].value))} of the runs reach {last[0]}"
        headline += f"; {worst[1]} stops most." if worst and worst[0] < 1 else "."
    return FUNNEL.finding(basis, sentence, estimate, {"segments": rows}, warnings=warnings, headline=headline)


def _ended(visits: int, at_death: int) -> str:
    """The visits that a share of those cleared is of."""
    if not at_death:
        return f"{counted(visits, 'visit')} not given up or cut"
    return f"{counted(visits, 'visit')} ({at_death} given up within {SOON_S:.0f} s of a death among them)"


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


def ends(basis: Basis) -> Finding:
    ending = basis.run["ending"]
    player, duration = basis.run["player"], basis.run["alive_us"] / 1e6
    code = {"game_over": 1, "quit": 2, "finished": 3}
    cause = np.array([code.get(end, 0) for end in ending])
    long: dict[str, list[Any]] = {name: [] for name in ("end", "time", "share", "low", "high")}
    for end, number in code.items():
        if not np.any(cause == number):
            continue
        incidence = cumulative_incidence(duration, cause, player, number)
        begun = np.flatnonzero(incidence.share > 0)
        # No more points than a screen is wide. Before the first of its kind there is nothing to be unsure of.
        shown = np.unique(np.linspace(begun[0], begun[-1], min(MOST_POINTS, begun.size)).round().astype(int))
        for name in ("time", "share", "low", "high"):
            long[name] += [0.0, *getattr(incidence, name)[shown].tolist()]
        long["end"] += [end] * (1 + len(shown))
    ends_of = {
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
    most = max(code, key=lambda end: int(np.sum(ending == end)))
    said = {"game_over": "end in game over", "quit": "are given up", "finished": "are finished"}[most]
    headline = f"{capital(percent(float(np.mean(ending == most))))} of the runs {said}."
    tables = {"incidence": long, "ends": ends_of}
    return ENDS.finding(basis, sentence, estimate, tables, headline=headline if ending.size else "")
