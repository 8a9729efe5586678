"""Do they hit the note: shares and windows, players, songs, and what the console itself adds.

Ids and their tables (columns of one length; times in ms, shares from 0 to 1, NaN where nothing can be said):

timing.hit_share   players: player, notes, runs, share, low, high (by run; NaN where
                   there is one). facts: early_ms, late_ms, offset_ms (medians over notes), builds.
timing.window      curve: window_ms, share, low, high, median, lower_quarter, method; players: player, window_ms,
                   share (long form). facts: early_ms, late_ms, offset_ms.
timing.asymmetric  grid: early_ms, late_ms, share (long form, each player counting alike). facts as above.
timing.players     players: player, notes, runs, bias_ms, bias_low_ms, bias_high_ms, spread_ms, lapses, strays,
                   autocorrelation; errors: bin_ms, presses (all players, around due). facts: early_ms, ...
See timing_song.py, timing_console.py and timing_grades.py for the others.
"""

from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings import timing_console, timing_grades, timing_song
from analysis.findings.basis import nothing
from analysis.findings.timing_facts import window_facts
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.stats.hit_window import accuracy_curve, asymmetric_shares, window_steps
from analysis.stats.proportions import share_by_player
from analysis.stats.timed_notes import TimedNotes
from analysis.stats.timing_errors import PlayerErrors, errors_by_player
from analysis.stats.within_player import mean_of_players
from analysis.timing_data import left_out, read_timing
from analysis.words import counted, percent

QUESTION = "timing"
# Intervals of the accuracy curve are made for so many windows at most: the profile of a beta-binomial is slow.
_CURVE_STEPS = 36
_GRID_STEPS = 25


def find(reader: Reader, selection: Selection) -> list[Finding]:
    """Every timing finding; one that says so where no note came due in the selection."""
    notes = read_timing(reader, selection)
    if notes is None:
        return [
            nothing(
                QUESTION, "No note came due in the chosen runs: a game tells of its notes by the role `note`."
            )
        ]
    shared = left_out(reader, selection) + timing_console.logging_warning(notes)
    errors = errors_by_player(notes)
    found = [
        _players(notes, errors, shared),
        *timing_song.find(notes, shared),
        *timing_console.find(notes, errors, shared),
    ]
    if np.isfinite(notes.early_us).any():
        found = [_hit_share(notes, shared), _window(notes, shared), _asymmetric(notes, shared), *found]
    return found + timing_grades.find(reader, selection, notes.player_runs)


def _hit_share(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding:
    share = share_by_player(notes.hit, np.ones(len(notes)), notes.player)
    players = len(notes.players)
    rows: dict[str, list[object]] = {name: [] for name in ("player", "notes", "runs", "share", "low", "high")}
    for p in range(players):
        own = notes.where(notes.player == p)
        by_run = share_by_player(own.hit, np.ones(len(own)), own.run)
        for name, value in zip(
            rows,
            (notes.players[p], len(own), own.player_runs, by_run.value, by_run.low, by_run.high),
            strict=True,
        ):
            rows[name].append(np.nan if value is None else value)
    own_share = np.array(rows["share"], float)
    middle, quarter = np.quantile(own_share, [0.5, 0.25])
    facts = window_facts(notes)
    sentence = (
        f"{percent(share.value)} of {counted(len(notes), 'note')} {'was' if len(notes) == 1 else 'were'} hit in the "
        f"window in force ({facts['early_ms']:.0f} ms early to {facts['late_ms']:.0f} ms late, input offset"
        f" {facts['offset_ms']:.0f} ms)"
        + (
            f"; for all such players between {percent(share.low)} and {percent(share.high)}"
            if share.low is not None
            else ""
        )
        + f". The median player hit {percent(middle)}, the lower quarter at most {percent(quarter)}."
    )
    return Finding(
        "timing.hit_share", QUESTION, "Notes hit in today's window", sentence, players, notes.player_runs,
        "timing.share_" + share.method, share, warnings,
        {"players": rows}, facts,
    )  # fmt: skip


def _window(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding:
    steps = window_steps(notes, _CURVE_STEPS)
    curve = accuracy_curve(notes, steps)
    names = [
        notes.players[p] for p in np.flatnonzero(np.bincount(notes.player, minlength=len(notes.players)))
    ]
    tables: dict[str, dict[str, Any]] = {
        "curve": {
            "window_ms": steps / 1000, "share": curve.share, "low": curve.low, "high": curve.high,
            "median": curve.median, "lower_quarter": curve.lower_quarter, "method": list(curve.method),
        },
        "players": {
            "player": np.repeat(names, len(steps)), "window_ms": np.tile(steps / 1000, len(names)),
            "share": curve.by_player.ravel(),
        },
    }  # fmt: skip
    reached = np.flatnonzero(curve.median >= 0.85)
    if len(reached):
        at = reached[0]
        says = (
            f"Around today's input offset the median player hits 85 % from a window of about {steps[at] / 1000:.0f} ms"
            f" on; there the lower quarter hits {percent(curve.lower_quarter[at])} or less."
        )
        estimate = Estimate(
            float(curve.share[at]), _maybe(curve.low[at]), _maybe(curve.high[at]), unit="share"
        )
    else:
        says = (
            "No window up to the widest press seen lets the median player hit 85 %: "
            f"at {steps[-1] / 1000:.0f} ms it is {percent(curve.median[-1])}."
        )
        estimate = Estimate(
            float(curve.share[-1]), _maybe(curve.low[-1]), _maybe(curve.high[-1]), unit="share"
        )
    return Finding(
        "timing.window", QUESTION, "Hit share for every window", says, len(names), notes.player_runs,
        "timing.accuracy_curve", estimate, warnings, tables, window_facts(notes),
    )  # fmt: skip


def _asymmetric(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding:
    steps = window_steps(notes, _GRID_STEPS)
    share = asymmetric_shares(notes, steps, steps)
    facts = window_facts(notes)
    total = facts["early_ms"] + facts["late_ms"]
    # The same total width, put elsewhere: what an input offset of the right size would do.
    early = np.linspace(0, total, 81) * 1000
    along = np.diagonal(asymmetric_shares(notes, early, total * 1000 - early))
    today = float(np.interp(facts["early_ms"] * 1000, early, along))
    best = int(np.argmax(along))
    moved = early[best] / 1000 - facts["early_ms"]
    if along[best] - today < 0.01:
        says = "Today's window lies where it catches the most: moving it, at the same width, gains less than 1 point."
    else:
        says = (
            f"A window of the same width ({total:.0f} ms) moved {abs(moved):.0f} ms towards"
            f" {'early' if moved > 0 else 'late'} presses would have caught {percent(along[best])} instead of"
            f" {percent(today)}. The input offset does the same."
        )
    e, late = np.meshgrid(steps / 1000, steps / 1000, indexing="ij")
    return Finding(
        "timing.asymmetric", QUESTION, "Early and late edges apart", says, len(notes.players), notes.player_runs,
        "timing.asymmetric", None, warnings,
        {
            "grid": {"early_ms": e.ravel(), "late_ms": late.ravel(), "share": share.ravel()},
            "same_width": {"early_ms": early / 1000, "late_ms": total - early / 1000, "share": along},
        },
        facts,
    )  # fmt: skip


def _players(notes: TimedNotes, errors: PlayerErrors, warnings: tuple[str, ...]) -> Finding:
    bias = mean_of_players(errors.bias_us / 1000)
    if bias.value is None:
        says = "No press lies near any note, so nothing can be said of anybody's timing."
    else:
        side = "early" if bias.value < 0 else "late"
        says = f"Players press {abs(bias.value):.0f} ms {side} on average"
        if bias.low is not None and bias.high is not None:
            says += f" (between {bias.low:+.0f} and {bias.high:+.0f} ms)"
        spread, lapses = np.nanmedian(errors.spread_us) / 1000, np.nanmedian(errors.lapses)
        says += f"; the median player scatters by {spread:.0f} ms and leaves {percent(lapses)} of the notes"
        says += " without a press."
    distance = notes.error_us[notes.pressed] / 1000
    edges = np.arange(-notes.reach_us / 1000, notes.reach_us / 1000 + 5, 5)
    table = {
        "player": list(notes.players), "notes": errors.notes, "runs": errors.runs, "bias_ms": errors.bias_us / 1000,
        "bias_low_ms": errors.bias_low_us / 1000, "bias_high_ms": errors.bias_high_us / 1000,
        "spread_ms": errors.spread_us / 1000, "lapses": errors.lapses, "strays": errors.strays, "hit": errors.hit,
        "autocorrelation": errors.autocorrelation,
    }  # fmt: skip
    return Finding(
        "timing.players", QUESTION, "Each player's hands: bias, spread, lapses", says, len(notes.players),
        notes.player_runs, "timing.errors", bias.in_unit("ms"), warnings,
        {"players": table, "errors": {"bin_ms": edges[:-1] + 2.5, "presses": np.histogram(distance, edges)[0]}},
        window_facts(notes),
    )  # fmt: skip


def _maybe(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
