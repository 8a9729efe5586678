"""Is it the player or the console? Called by players.py. (Rhythm games: latency and polling are in timing.*.)

console.bounce       buttons: lane, presses, bounces, share, low, high.
console.slide        series: power_up_id, capture, what (input or position), noise, unit, noise_px, flicker,
windows. console.slow_frames  players: player, slow_frames, alive_s, touched_s, deaths, touched_deaths.
                     facts: expected_share (of deaths, by each player's time just after a slow frame), reach_ms.
console.polling      facts: poll_ms (presses come in steps of it). Only where the game has no notes.
"""

from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.stats.console_timing import polling_period_us
from analysis.stats.hardware import BOUNCE_US, bounces, pixels_a_unit, rest_noise
from analysis.stats.proportions import share_by_player
from analysis.words import amount, counted, limits, percent

QUESTION = "players"
# A death this soon after a slow frame may have been its doing: about one simple reaction (see
# stats/fairness.py).
REACH_US = 250_000
# More presses, positions or raw samples than this are not looked at: they would hardly change what is found.
_MOST_SAMPLES = 500_000


def find(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    """One finding for each thing the log allows to look at."""
    found = []
    if "press" in basis.roles:
        found += _presses(reader, selection, basis)
    if basis.roles & {"input", "position"}:
        found += _slide(reader, selection, basis)
    if "slow_frame" in basis.roles:
        found.append(_slow_frames(reader, selection, basis))
    return found


def _presses(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    press = reader.ask_chosen("presses", selection, most=_MOST_SAMPLES)
    if not press["run_id"].size:
        return []
    player = press["player"].astype(str)
    bounced = bounces(press["press_us"], press["run_id"], press["lane"])
    rows: dict[str, list[Any]] = {name: [] for name in ("lane", "presses", "bounces", "share", "low", "high")}
    lanes = np.nan_to_num(press["lane"].astype(float), nan=-1.0)
    for lane in np.unique(lanes):
        mine = lanes == lane
        share = share_by_player(bounced[mine], np.ones(int(mine.sum())), player[mine])
        values = (
            None if lane < 0 else int(lane),
            int(mine.sum()),
            int(bounced[mine].sum()),
            share.value,
            share.low,
            share.high,
        )
        for name, value in zip(rows, values, strict=True):
            rows[name].append(value)
    share = share_by_player(bounced, np.ones(bounced.size), player)
    estimate = share
    cure = " Debounce in the firmware: ignore a button for some 10 ms after a press." if bounced.any() else ""
    sentence = (
        f"{percent(share.value)} of {counted(bounced.size, 'press', 'presses')} {limits(estimate)} follow one "
        f"of the same button within {BOUNCE_US / 1000:.0f} ms, faster than fingers can.{cure}"
    )
    found = [
        Finding(
            id="console.bounce", question=QUESTION, title="Do the buttons bounce?", sentence=sentence,
            players=basis.players, runs=basis.runs, method="console.bounce", estimate=estimate,
            warnings=basis.warnings + _sampled(bounced.size, "presses"), tables={"buttons": rows},
        )
    ]  # fmt: skip
    period = polling_period_us(press["press_us"], press["run_id"]) if "note" not in basis.roles else None
    if period is not None:
        ms = period / 1000
        found.append(
            Finding(
                id="console.polling", question=QUESTION, title="How often the buttons are read",
                sentence=f"Presses come in steps of {amount(ms, 'ms')}: that is how often the buttons are read, so "
                f"each of {counted(bounced.size, 'press', 'presses')} is late by {amount(ms / 2, 'ms')} on average.",
                players=basis.players, runs=basis.runs, method="console.polling", facts={"poll_ms": ms},
            )
        )  # fmt: skip
    return found


def _slide(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    rows: dict[str, list[Any]] = {
        name: []
        for name in ("power_up_id", "capture", "what", "noise", "unit", "noise_px", "flicker", "windows")
    }
    looked_at: tuple[str, ...] = ()
    captures = dict(zip(*reader.ask("captures_of_power_ups").values(), strict=True))
    if "input" in basis.roles:
        sample = reader.ask_chosen("inputs", selection, longest_us=100_000, most=_MOST_SAMPLES)
        looked_at = _sampled(sample["value"].size, "input samples")
        for lane in np.unique(sample["lane"]):
            mine = sample["lane"] == lane
            span = float(np.ptp(sample["value"][mine]))
            px = pixels_a_unit(sample["value"][mine], sample["x"][mine])
            for power_up in np.unique(sample["power_up_id"][mine]):
                own = mine & (sample["power_up_id"] == power_up)
                noise = rest_noise(sample["value"][own], sample["power_up_id"][own], span)
                in_px = noise.sd * px if noise.sd is not None and px is not None else None
                _add(
                    rows,
                    power_up,
                    captures[power_up],
                    f"input {lane}",
                    noise.sd,
                    "raw",
                    in_px,
                    noise.flicker,
                    noise.windows,
                )
    # Positions hold the player's own small movements too: second best, where no raw input tells.
    if "position" in basis.roles and not any(noise is not None for noise in rows["noise"]):
        sample = reader.ask_chosen("position_samples", selection, most=_MOST_SAMPLES)
        looked_at = _sampled(sample["x"].size, "positions")
        span = float(np.ptp(sample["x"])) if sample["x"].size else 0.0
        for power_up in np.unique(sample["power_up_id"]):
            own = sample["power_up_id"] == power_up
            noise = rest_noise(sample["x"][own], sample["run_id"][own], span)
            _add(
                rows,
                power_up,
                captures[power_up],
                "position",
                noise.sd,
                "px",
                noise.sd,
                noise.flicker,
                noise.windows,
            )
    known = [px for px in rows["noise_px"] if px is not None]
    if not rows["what"] or not any(noise is not None for noise in rows["noise"]):
        return []
    if known:
        worst = max(known)
        judged = (
            "too little to matter" if worst < 0.5 else "enough to see" if worst < 2 else "enough to be hit by"
        )
        sentence = (
            f"Held still, the player moves by itself with a standard deviation of up to {amount(worst, 'pixels')}, "
            f"{judged}; every run on that console is touched by it."
        )
    else:
        raw = max(noise for noise in rows["noise"] if noise is not None)
        sentence = (
            f"Held still, the raw input varies with a standard deviation of up to {amount(raw)}; how many pixels that "
            "is cannot be told, because no positions go with it."
        )
    return [
        Finding(
            id="console.slide", question=QUESTION, title="Does the slide pot keep still?", sentence=sentence,
            players=basis.players, runs=basis.runs, method="console.slide",
            warnings=basis.warnings + looked_at,
            tables={"series": rows},
        )
    ]  # fmt: skip


def _sampled(looked_at: int, what: str) -> tuple[str, ...]:
    """Says that not all were looked at, where that is so."""
    if looked_at < _MOST_SAMPLES:
        return ()
    return (f"Judged from {looked_at} {what}, of whole runs spread evenly over all that are chosen.",)


def _add(rows: dict[str, list[Any]], *values: Any) -> None:
    for name, value in zip(rows, values, strict=True):
        rows[name].append(value)


def _slow_frames(reader: Reader, selection: Selection, basis: Basis) -> Finding:
    table = reader.ask_chosen("slow_frames", selection, reach_us=REACH_US)
    count, time = int(table["slow_frames"].sum()), float(table["alive_s"].sum())
    # Each player's deaths at that player's own share of time: a bad player on a slow console is no proof against it.
    own = np.minimum(table["touched_s"] / np.maximum(table["alive_s"], 1e-9), 1.0)
    expected = float(np.sum(own * table["deaths"]) / max(table["deaths"].sum(), 1))
    share = share_by_player(table["touched_deaths"], table["deaths"], table["player"].astype(str))
    estimate = share if share.value is not None else None
    sentence = f"{counted(count, 'slow frame')} in {amount(time / 60, 'minutes')} alive"
    if not count:
        sentence = f"No slow frame was logged in {amount(time / 60, 'minutes')} alive"
    elif estimate:
        sentence += (
            f"; {percent(share.value)} of {counted(share.trials, 'death')} {limits(estimate)} came within "
            f"{REACH_US / 1000:.0f} ms of one, where chance would bring {percent(expected)}"
        )
    return Finding(
        id="console.slow_frames", question=QUESTION, title="Do slow frames kill?", sentence=sentence + ".",
        players=basis.players, runs=basis.runs, method="console.slow_frames", estimate=estimate,
        warnings=basis.warnings, tables={"players": table},
        facts={"expected_share": expected, "reach_ms": REACH_US / 1000},
    )  # fmt: skip
