"""Which share of the notes is hit: in the window in force, and in any other."""

from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings.declared import Column, Declared, Size, estimate_cells, estimate_columns
from analysis.findings.timing.window_in_force import IN_FORCE, between, builds_apart, in_force, rests_on, window_facts
from analysis.stats.estimate import Estimate
from analysis.stats.players.ranks import median_of_players
from analysis.stats.proportions import share_by_player
from analysis.stats.rhythm.hit_window import accuracy_curve, asymmetric_shares, needed_windows, window_steps
from analysis.stats.rhythm.timed_notes import TimedNotes
from analysis.words import amount, capital, counted, percent

# Intervals of the accuracy curve are made for so many windows at most: a profile takes some 10 ms.
_CURVE_STEPS = 36
# Places to which a window of the same width is moved, and the gain from which on that is worth a sentence.
_MOVES, _WORTH = 81, 0.01
# Of the notes, what the median player should hit where a window is named.
_WISH = 0.85
HIT_SHARE = Declared(
    "timing.hit_share",
    "timing",
    "Notes hit in today's window",
    "timing.share",
    {
        "players": (
            Column("player", "", "tag of the player"),
            Column("notes", "", "notes that came due"),
            Column("runs", "", "runs they came due in"),
            Column("share", "share", "of the notes, those hit"),
            Column("low", "share", "lower limit of the share, by run"),
            Column("high", "share", "upper limit of the share, by run"),
        )
    },
    IN_FORCE,
)
WINDOW = Declared(
    "timing.window",
    "timing",
    "Hit share for every window",
    "timing.accuracy_curve",
    {
        "curve": (
            Column("window_ms", "ms", "half width of the window, around the input offset in force"),
            *estimate_columns("share", "share", "of all notes, those hit in it"),
            Column("median", "share", "hit by the median player"),
            Column("lower_quarter", "share", "hit by the player at the lower quarter"),
        ),
        "players": (
            Column("player", "", "tag of the player"),
            Column("window_ms", "ms", "half width of the window"),
            Column("share", "share", "of the player's notes, those hit in it"),
        ),
        "moved": (
            Column("moved_ms", "ms", "how far the window is moved towards late presses, at the same width"),
            Column("share", "share", "hit there, each player counting alike"),
        ),
    },
    (
        *IN_FORCE,
        *estimate_columns(
            "needed_ms", "ms", f"half width from which on the median player hits {percent(_WISH)}", "needed_"
        ),
    ),
)


def find(notes: TimedNotes, warnings: tuple[str, ...]) -> list[Finding]:
    """Where a window is declared: what it lets through, and what others would."""
    return [_hit_share(notes, warnings), _window(notes, warnings)]


def _hit_share(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding:
    share = share_by_player(notes.hit, np.ones(len(notes)), notes.player)
    rows = []
    for p, name in enumerate(notes.players):
        own = notes.where(notes.player == p)
        by_run = share_by_player(own.hit, np.ones(len(own)), own.run)
        rows.append({"player": name, "notes": len(own), "runs": own.player_runs, **estimate_cells("share", by_run)})
    own_share = np.array([np.nan if row["share"] is None else row["share"] for row in rows], float)
    middle, quarter = np.quantile(own_share, [0.5, 0.25])
    facts = window_facts(notes)
    apart = builds_apart(notes)
    if len(apart) > 1:
        return _on_each_build(apart, rests_on(notes, warnings), rows, facts)
    sentence = (
        f"{percent(share.value)} of {counted(len(notes), 'note')} {'was' if len(notes) == 1 else 'were'} hit in the "
        f"window in force ({in_force(notes)})"
        + (
            f"; for the notes of all such players between {percent(share.low)} and {percent(share.high)}"
            if share.low is not None
            else ""
        )
        + f". The median player hit {percent(middle)}, the lower quarter at most {percent(quarter)}."
    )
    headline = f"{capital(percent(share.value))} of the notes are hit."
    return HIT_SHARE.finding(rests_on(notes, warnings), sentence, share, {"players": rows}, facts, headline=headline)


def _on_each_build(
    apart: list[tuple[str, TimedNotes]], size: Size, rows: list[dict[str, Any]], facts: dict[str, float]
) -> Finding:
    """No share of all notes: each build has a window of its own, and none had the one between."""
    said = []
    for build, own in apart:
        share = share_by_player(own.hit, np.ones(len(own)), own.player)
        said.append(f"{percent(share.value)} of {counted(len(own), 'note')} on {build} ({in_force(own)})")
    sentence = f"Each build has a window of its own. Hit were {'; '.join(said)}."
    return HIT_SHARE.finding(size, sentence, None, {"players": rows}, facts)


def _window(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding:
    steps = window_steps(notes, _CURVE_STEPS)
    curve = accuracy_curve(notes, steps)
    names = [notes.players[p] for p in np.flatnonzero(np.bincount(notes.player, minlength=len(notes.players)))]
    tables: dict[str, dict[str, Any]] = {
        "curve": {
            "window_ms": steps / 1000,
            "share": curve.share,
            "low": curve.low,
            "high": curve.high,
            "median": curve.median,
            "lower_quarter": curve.lower_quarter,
        },
        "players": {
            "player": np.repeat(names, len(steps)),
            "window_ms": np.tile(steps / 1000, len(names)),
            "share": curve.by_player.ravel(),
        },
    }
    needed = median_of_players(needed_windows(notes, _WISH) / 1000)
    if needed.value is not None:
        there = accuracy_curve(notes, np.array([1000 * needed.value]))
        says = (
            f"Around {_whose(notes)} the median player hits {percent(_WISH)} from a window of {between(needed)} on"
            f"; there the lower quarter hits {percent(there.lower_quarter[0])} or less."
        )
        estimate = Estimate.known(there.share[0], there.low[0], there.high[0], unit="share")
    else:
        says = (
            f"No window up to the widest press seen lets the median player hit {percent(_WISH)}: "
            f"at {steps[-1] / 1000:.0f} ms it is {percent(curve.median[-1])}."
        )
        estimate = Estimate.known(curve.share[-1], curve.low[-1], curve.high[-1], unit="share")
    says += _moved(notes, tables) if len(builds_apart(notes)) == 1 else ""
    facts = {**window_facts(notes), **estimate_cells("needed_ms", needed, "needed_")}
    return WINDOW.finding(rests_on(notes, warnings), says, estimate, tables, facts, players=len(names))


def _whose(notes: TimedNotes) -> str:
    return "today's input offset" if len(builds_apart(notes)) == 1 else "each build's own input offset"


def _moved(notes: TimedNotes, tables: dict[str, dict[str, Any]]) -> str:
    """Adds the table `moved` and says what a window of the same width would have caught elsewhere."""
    facts = window_facts(notes)
    total = facts["early_ms"] + facts["late_ms"]
    early = np.linspace(0, total, _MOVES) * 1000
    share = np.diagonal(asymmetric_shares(notes, early, total * 1000 - early))
    # Towards late presses is plus, as an input offset counts.
    tables["moved"] = {"moved_ms": facts["early_ms"] - early / 1000, "share": share}
    today = float(np.interp(facts["early_ms"] * 1000, early, share))
    best = int(np.argmax(share))
    if share[best] - today < _WORTH:
        return " Moving the window, at the same width, gains less than 1 point."
    moved = early[best] / 1000 - facts["early_ms"]
    return (
        f" A window of the same width ({amount(round(total), 'ms')}) moved {amount(round(abs(moved)), 'ms')} towards"
        f" {'early' if moved > 0 else 'late'} presses would have caught {percent(share[best])} instead of"
        f" {percent(today)}; the input offset does the same."
    )
