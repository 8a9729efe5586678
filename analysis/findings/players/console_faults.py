"""Is it the player or the console? (Rhythm games: latency and polling are among the findings on timing.)"""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.declared import Column, Declared, estimate_cells, estimate_columns
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.hardware import BOUNCE_US, RestNoise, bounces, pixels_a_unit, rest_noise
from analysis.stats.proportions import share_by_player
from analysis.stats.rhythm.console_timing import polling_period_us
from analysis.words import amount, counted, limits, percent

Array = np.ndarray
# A death this soon after a slow frame may have been its doing: about one simple reaction (see
# stats/fairness.py).
REACH_US = 250_000
# More presses, positions or raw samples than this are not looked at: they would hardly change what is found.
_MOST_SAMPLES = 500_000
# Pixels, as a standard deviation. A guess, no source: half a pixel is drawn as none, two are a step aside.
_SEEN_PX, _HIT_PX = 0.5, 2.0
BOUNCE = Declared(
    "console.bounce",
    "players",
    "Do the buttons bounce?",
    "console.bounce",
    {
        "buttons": (
            Column("lane", "", "the button; none where the log does not say which"),
            Column("presses", "", "presses of it"),
            Column("bounces", "", "presses too soon after the one before for a finger"),
            *estimate_columns("share", "share", "bounces over presses"),
        )
    },
)
POLLING = Declared(
    "console.polling",
    "players",
    "How often the buttons are read",
    "console.polling",
    facts=(Column("poll_ms", "ms", "presses come in steps of it; not where the game has notes"),),
)
SLIDE = Declared(
    "console.slide",
    "players",
    "Does the slide pot keep still?",
    "console.slide",
    {
        "series": (
            Column("power_up_id", "", "the power-up of a console"),
            Column("capture", "", "the log it is in"),
            Column("what", "", "which input, or the position"),
            Column("noise", "in `unit`", "standard deviation while held still; none where it hardly ever was"),
            Column("unit", "", "raw or px"),
            Column("noise_px", "px", "the same in pixels; none where no positions go with it"),
            Column("flicker", "share", "of neighbouring samples at rest, those that differ"),
            Column("windows", "", "stretches at rest"),
        )
    },
)
SLOW_FRAMES = Declared(
    "console.slow_frames",
    "players",
    "Do slow frames kill?",
    "console.slow_frames",
    {
        "players": (
            Column("player", "", "who"),
            Column("slow_frames", "", "slow frames in the player's runs"),
            Column("alive_s", "s", "time alive"),
            Column("touched_s", "s", "time alive within `reach_ms` after a slow frame"),
            Column("deaths", "", "deaths"),
            Column("touched_deaths", "", "deaths within `reach_ms` after a slow frame"),
        )
    },
    (
        Column("expected_share", "share", "of deaths, by each player's share of time just after a slow frame"),
        Column("reach_ms", "ms", "how long after a slow frame a death may have been its doing"),
    ),
)


def find(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    """One finding for each thing the log allows to look at."""
    found = []
    if "press" in basis.roles:
        press = reader.ask_chosen("presses", selection, most=_MOST_SAMPLES)
        found += _presses(press, basis) if press["run_id"].size else []
    if basis.roles & {"input", "position"}:
        found += _slide(reader, selection, basis)
    if "slow_frame" in basis.roles:
        found.append(_slow_frames(reader.ask_chosen("slow_frames", selection, reach_us=REACH_US), basis))
    return found


def _presses(press: Columns, basis: Basis) -> list[Finding]:
    player = press["player"]
    bounced = bounces(press["press_us"], press["run_id"], press["lane"])
    lanes = np.nan_to_num(press["lane"], nan=-1.0)
    rows = []
    for lane in np.unique(lanes):
        mine = lanes == lane
        share = share_by_player(bounced[mine], np.ones(int(mine.sum())), player[mine])
        rows.append(
            {
                "lane": None if lane < 0 else int(lane),
                "presses": int(mine.sum()),
                "bounces": int(bounced[mine].sum()),
                **estimate_cells("share", share),
            }
        )
    share = share_by_player(bounced, np.ones(bounced.size), player)
    presses = counted(bounced.size, "press", "presses")
    cure = " Debounce in the firmware: ignore a button for some 10 ms after a press." if bounced.any() else ""
    of_which = "of the same button"
    if (lanes < 0).all():
        of_which = "of any button (the log does not say which)"
    sentence = (
        f"{percent(share.value)} of {presses} {limits(share)} follow one {of_which} within "
        f"{BOUNCE_US / 1000:.0f} ms, faster than fingers can.{cure}"
    )
    warnings = basis.warnings + _sampled(bounced.size, "presses")
    found = [BOUNCE.finding(basis, sentence, share, {"buttons": rows}, warnings=warnings)]
    period = polling_period_us(press["press_us"], press["run_id"]) if "note" not in basis.roles else None
    if period is not None:
        ms = period / 1000
        sentence = (
            f"Presses come in steps of {amount(ms, 'ms')}: that is how often the buttons are read, so "
            f"each of {presses} is late by {amount(ms / 2, 'ms')} on average."
        )
        found.append(POLLING.finding(basis, sentence, facts={"poll_ms": ms}, warnings=()))
    return found


def _slide(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    names = dict(zip(*reader.ask("captures_of_power_ups").values(), strict=True))
    rows: list[dict[str, Any]] = []
    looked_at: tuple[str, ...] = ()
    if "input" in basis.roles:
        sample = reader.ask_chosen("inputs", selection, longest_us=100_000, most=_MOST_SAMPLES)
        looked_at = _sampled(sample["value"].size, "input samples")
        rows = list(_of_inputs(sample))
    # Positions hold the player's own small movements too: second best, where no raw input tells.
    if "position" in basis.roles and all(row["noise"] is None for row in rows):
        sample = reader.ask_chosen("position_samples", selection, most=_MOST_SAMPLES)
        looked_at = _sampled(sample["x"].size, "positions")
        rows += _of_positions(sample)
    if all(row["noise"] is None for row in rows):
        return []
    table = pd.DataFrame(rows)
    table["capture"] = table["power_up_id"].map(names)
    sentence = _slide_words(table)
    return [SLIDE.finding(basis, sentence, tables={"series": table}, warnings=basis.warnings + looked_at)]


def _of_inputs(sample: Columns) -> Iterator[dict[str, Any]]:
    for lane in np.unique(sample["lane"]):
        mine = sample["lane"] == lane
        span = float(np.ptp(sample["value"][mine]))
        px = pixels_a_unit(sample["value"][mine], sample["x"][mine])
        for power_up in np.unique(sample["power_up_id"][mine]):
            own = mine & (sample["power_up_id"] == power_up)
            noise = rest_noise(sample["value"][own], sample["power_up_id"][own], span)
            in_px = noise.sd * px if noise.sd is not None and px is not None else None
            yield _series(power_up, f"input {lane}", "raw", noise, in_px)


def _of_positions(sample: Columns) -> Iterator[dict[str, Any]]:
    span = float(np.ptp(sample["x"])) if sample["x"].size else 0.0
    for power_up in np.unique(sample["power_up_id"]):
        own = sample["power_up_id"] == power_up
        noise = rest_noise(sample["x"][own], sample["run_id"][own], span)
        yield _series(power_up, "position", "px", noise, noise.sd)


def _series(power_up: int, what: str, unit: str, noise: RestNoise, in_px: float | None) -> dict[str, Any]:
    return {
        "power_up_id": power_up,
        "what": what,
        "noise": noise.sd,
        "unit": unit,
        "noise_px": in_px,
        "flicker": noise.flicker,
        "windows": noise.windows,
    }


def _slide_words(table: pd.DataFrame) -> str:
    worst, raw = (table[name].astype(float).max() for name in ("noise_px", "noise"))
    if np.isnan(worst):
        return (
            f"Held still, the raw input varies with a standard deviation of up to {amount(raw)}; how many pixels that "
            "is cannot be told, because no positions go with it."
        )
    said = f"Held still, the player moves by itself with a standard deviation of up to {amount(worst, 'pixels')}"
    if worst < _SEEN_PX:
        return f"{said}, too little to matter."
    judged = "enough to see" if worst < _HIT_PX else "enough to be hit by"
    moves = table["noise_px"].astype(float).groupby(table["power_up_id"]).max().dropna() >= _SEEN_PX
    where = f"{int(moves.sum())} of {counted(moves.size, 'power-up')} that were measured"
    return f"{said}, {judged}: so much to see in {where}."


def _sampled(looked_at: int, what: str) -> tuple[str, ...]:
    """Says that not all were looked at, where that is so."""
    if looked_at < _MOST_SAMPLES:
        return ()
    return (f"Judged from {looked_at} {what}, of whole runs spread evenly over all that are chosen.",)


def _slow_frames(table: Columns, basis: Basis) -> Finding:
    count, time = int(table["slow_frames"].sum()), float(table["alive_s"].sum())
    # Each player's deaths at that player's own share of time: a bad player on a slow console is no proof against it.
    own = np.minimum(table["touched_s"] / np.maximum(table["alive_s"], 1e-9), 1.0)
    expected = float(np.sum(own * table["deaths"]) / max(table["deaths"].sum(), 1))
    share = share_by_player(table["touched_deaths"], table["deaths"], table["player"])
    estimate = share if share.value is not None else None
    sentence = f"{counted(count, 'slow frame')} in {amount(time / 60, 'minutes')} alive"
    if not count:
        sentence = f"No slow frame was logged in {amount(time / 60, 'minutes')} alive"
    elif estimate:
        sentence += (
            f"; {percent(share.value)} of {counted(share.trials, 'death')} {limits(estimate)} came within "
            f"{REACH_US / 1000:.0f} ms of one, where chance would bring {percent(expected)}"
        )
    facts = {"expected_share": expected, "reach_ms": REACH_US / 1000}
    return SLOW_FRAMES.finding(basis, f"{sentence}.", estimate, {"players": table}, facts)
