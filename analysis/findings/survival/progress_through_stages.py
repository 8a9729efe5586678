"""How far runs get, and how they end."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings.basis import SOON_S, Basis
from analysis.findings.declared import PART, Column, Declared, estimate_cells, estimate_columns
from analysis.findings.survival.curves import MOST_POINTS
from analysis.reader import Columns
from analysis.stats.estimate import LEVEL, Estimate
from analysis.stats.lifetimes.competing import cumulative_incidence
from analysis.stats.proportions import Share, share_by_player
from analysis.words import capital, counted, interval_name, limits, percent, span, stage_name

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
    reached = _reached(visit, basis.run)
    soon = (visit["outcome"] == "quit") & (visit["since_death_s"] < SOON_S)
    played = _Played(visit.where(np.isin(visit["outcome"], ("cleared", "died_out", "left")) | soon))
    for stage, kind in sorted(set(zip(visit["stage"].tolist(), visit["stage_kind"].tolist(), strict=True))):
        mine = (visit["stage"] == stage) & (visit["stage_kind"] == kind)
        outcome = visit["outcome"][mine]
        ran = reached[2 * stage + kind]
        reach = share_by_player(ran, np.ones(run.size), player)
        early = share_by_player(ran[first], np.ones(int(first.sum())), player[first])
        clear = played.cleared(2 * stage + kind)
        row = {
            "stage": stage,
            "stage_kind": kind,
            "name": stage_name(stage, kind),
            "entered": int(ran.sum()),
            "players": int(np.unique(player[ran]).size),
            "cleared": int(np.sum(outcome == "cleared")),
            "died_out": int(np.sum(outcome == "died_out")),
            "quit": int(np.sum(outcome == "quit")),
            "quit_at_death": int(soon[mine].sum()),
            "cut": int(np.sum(outcome == "cut")),
            **estimate_cells("reach", reach),
            **estimate_cells("first_reach", early, "first_"),
            **estimate_cells("clear", clear, "clear_"),
            "deaths_per_visit": float(visit["deaths"][mine].mean()),
            "lives_in": _mean(visit["lives_in"][mine]),
            "tier_in": _mean(visit["tier_in"][mine]),
        }
        rows.append(row)
    estimate: Estimate | None
    headline = ""
    if not rows:
        sentence, estimate = "No stage was entered in these runs.", None
    elif len(rows) == 1 and rows[0]["clear"] is not None:
        estimate = played.cleared(2 * rows[0]["stage"] + rows[0]["stage_kind"])
        done = f"{percent(estimate.value)} of {_ended(estimate.trials, rows[0])}, of {basis.size} in all,"
        sentence = f"{done} got through {rows[0]['name']} {limits(estimate)}."
    else:
        last = rows[-1]
        estimate = Estimate(last["reach"], last["low"], last["high"], players=basis.players, unit="share")
        sentence = f"{percent(estimate.value)} of {basis.size} reach {last['name']} {limits(estimate)}."
        if len(rows) > 1:
            least, told = _least(rows, played)
            sentence = f"{sentence[:-1]}{least}."
            headline = f"{capital(percent(estimate.value))} of the runs reach {last['name']}"
            headline += f"; {told} stops more than the others." if told else "."
    cut, warnings = int(np.sum(basis.run["ending"] == "cut")), basis.warnings
    if cut:
        warnings += (f"{counted(cut, 'cut run')} might have got further: shares that reach a part are at least these.",)
    return FUNNEL.finding(basis, sentence, estimate, {"segments": rows}, warnings=warnings, headline=headline)


@dataclass(frozen=True)
class _Played:
    """The visits that were played out: cleared, ended in game over, or given up at a death."""

    visit: Columns

    @cached_property
    def part(self) -> np.ndarray:
        return 2 * self.visit["stage"] + self.visit["stage_kind"]

    @cached_property
    def done(self) -> np.ndarray:
        return self.visit["outcome"] == "cleared"

    @cached_property
    def player(self) -> np.ndarray:
        return self.visit["player"].astype(str)

    def cleared(self, part: int, level: float = LEVEL) -> Share:
        mine = self.part == part
        return share_by_player(self.done[mine], np.ones(int(mine.sum())), self.player[mine], level)


def _least(rows: list[dict[str, Any]], played: _Played) -> tuple[str, str]:
    """(the part that is cleared least often, in words; its name where that is beyond chance, else "")."""
    known = [row for row in rows if row["clear"] is not None]
    if len(known) < 2 or len({row["clear"] for row in known}) == 1:
        return "", ""
    worst = min(known, key=lambda row: row["clear"])
    part = 2 * worst["stage"] + worst["stage_kind"]
    # Of several the least may be it by chance: its interval is corrected for their number.
    cleared = played.cleared(part, 1 - (1 - LEVEL) / len(known))
    rest = float(np.mean(played.done[played.part != part]))
    told = cleared.high is not None and cleared.high < rest
    said = f"; {worst['name']} is cleared least often, in {percent(cleared.value)} of {_ended(cleared.trials, worst)}"
    if cleared.low is not None:
        sure = f"{interval_name(LEVEL)}, corrected for {len(known)} parts,"
        said += f" ({sure} {span(cleared.low, cleared.high, 'share')})"
    said += f", the others together in {percent(rest)}"
    return said + ("" if told else ", which may be chance"), worst["name"] if told else ""


def _ended(visits: int, row: dict[str, Any]) -> str:
    """The visits that a share of those cleared is of."""
    at_death = row["quit_at_death"]
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


def _were(count: int) -> str:
    return "was" if count == 1 else "were"


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
    # Whether a run that was cut would have been given up, nobody knows.
    ended = ending != "cut"
    estimate = share_by_player(ending[ended] == "quit", np.ones(int(ended.sum())), player[ended])
    over, quits, done, cut = (int(np.sum(ending == end)) for end in ("game_over", "quit", "finished", "cut"))
    sentence = (
        f"Of {basis.size}, {over} ended in game over, {done} {_were(done)} finished, {quits} {_were(quits)} given up"
    )
    if estimate.value is not None:
        sentence += f", which is {percent(estimate.value)}{' of those not cut' if cut else ''} {limits(estimate)}"
    sentence += f", and {cut} {_were(cut)} cut."
    most = max(code, key=lambda end: int(np.sum(ending == end)))
    game_over = "end in game over" if ended.all() else "come to game over"
    said = {"game_over": game_over, "quit": "are given up", "finished": "are finished"}[most]
    of = "the runs" if ended.all() else "the runs with an end"
    headline = f"{capital(percent(float(np.mean(ending[ended] == most))))} of {of} {said}." if ended.any() else ""
    tables = {"incidence": long, "ends": ends_of}
    return ENDS.finding(basis, sentence, estimate, tables, headline=headline)
