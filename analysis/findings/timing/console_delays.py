"""What the console adds: what it fails to log, its latency, its polling."""

from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings.declared import Column, Declared
from analysis.findings.timing.window_in_force import IN_FORCE, rests_on, window_facts
from analysis.stats.players.within_player import mean_of_players
from analysis.stats.rhythm.console_timing import compare_captures, lost_to_polling, polling_period_us
from analysis.stats.rhythm.timed_notes import TimedNotes, group_medians
from analysis.stats.rhythm.timing_errors import PlayerErrors
from analysis.stats.rhythm.truncated_normal import truncated_normal_fit
from analysis.stats.rhythm.truncation import edge_checks
from analysis.words import counted, percent

LOGGING = Declared(
    "timing.logging",
    "timing",
    "Are presses outside the window logged?",
    "timing.truncation",
    {
        "edges": (
            Column("edge", "", "early or late"),
            Column("inside", "", "presses just inside it"),
            Column("beyond", "", "presses in an equal stretch just beyond it"),
            Column("p", "", "of so few beyond by chance"),
            Column("cut", "", "1 where presses beyond it seem not to be logged"),
        ),
        "players": (
            Column("player", "", "tag of the player"),
            Column("bias_ms", "ms", "from a fit that knows of the cut"),
            Column("spread_ms", "ms", "likewise"),
            Column("seen", "share", "of the player's presses, those that the window lets through"),
        ),
    },
    IN_FORCE,
)
LATENCY = Declared(
    "timing.latency",
    "timing",
    "The console's latency or the players' habit?",
    "timing.latency",
    {
        "captures": (
            Column("capture", "", "name of the log"),
            Column("players", "", "players in it"),
            Column("bias_ms", "ms", "mean of their medians of press less due"),
        )
    },
    (
        Column("difference_ms", "ms", "the log that lags most less the one that lags least"),
        Column("low_ms", "ms", "lower limit of it"),
        Column("high_ms", "ms", "upper limit of it"),
        Column("p", "", "that all logs are alike"),
        Column("how", "", "within (the same players) or between"),
        *IN_FORCE,
    ),
)
POLLING = Declared(
    "timing.polling",
    "timing",
    "Polling of the buttons",
    "timing.polling",
    {},
    (
        Column("poll_ms", "ms", "period in which the buttons are read"),
        Column("declared", "", "1 where the game declares it, 0 where the presses show it"),
        Column("lost", "share", "of the notes, missed for that alone"),
        Column("gained", "share", "of the notes, hit for that alone"),
        Column("width_ms", "ms", "width of the window in force"),
        *IN_FORCE,
    ),
)
HOW_TO_LOG = (
    "Log every press, hit or not, with the time it happened (a `press` event before the judging, not in it): "
    "only then can wider windows and other offsets be judged."
)


def find(notes: TimedNotes, errors: PlayerErrors, warnings: tuple[str, ...]) -> list[Finding]:
    """Findings on logging, latency and polling."""
    return [*_logging(notes), _latency(notes, errors, warnings), *_polling(notes, warnings)]


def logging_warning(notes: TimedNotes) -> tuple[str, ...]:
    """The selection trap in one sentence for every timing finding, where it holds."""
    cut = [name for name, check in edge_checks(notes).items() if check.cut]
    if not cut:
        return ()
    return (
        f"The console seems to log only presses inside the window (cut at the {' and the '.join(cut)} edge): bias and"
        f" spread look smaller than they are, and misses hide how far off they were. {HOW_TO_LOG}",
    )


def _logging(notes: TimedNotes) -> list[Finding]:
    checks = edge_checks(notes)
    if not checks:
        return []
    cut = [name for name, check in checks.items() if check.cut]
    edges: dict[str, list[Any]] = {
        "edge": list(checks),
        "inside": [c.inside for c in checks.values()],
        "beyond": [c.beyond for c in checks.values()],
        "p": [c.p for c in checks.values()],
        "cut": [int(c.cut) for c in checks.values()],
    }
    tables: dict[str, dict[str, list[Any]]] = {"edges": edges}
    beyond, inside = sum(c.beyond for c in checks.values()), sum(c.inside for c in checks.values())
    if cut:
        fits = _truncated_fits(notes)
        tables["players"] = fits
        seen = np.array(fits["seen"], float)
        says = (
            f"Just inside the window's edges lie {counted(inside, 'press', 'presses')}, in an equal stretch just "
            f"beyond only {beyond}: presses outside the window seem not to be logged."
        )
        if np.isfinite(seen).any():
            spread = np.nanmedian(np.array(fits["spread_ms"], float))
            hidden = percent(1 - float(np.nanmedian(seen)))
            says += f" Fitted with that in mind, the median player's spread is {spread:.0f} ms and {hidden} of the"
            says += " presses are not in the log."
    elif inside + beyond < 20:
        says = "Too few presses lie near the window's edges to tell whether those outside it are logged."
    else:
        says = f"Presses outside the window are logged: {beyond} just beyond its edges, {inside} just inside."
    size = rests_on(notes, logging_warning(notes))
    return [LOGGING.finding(size, says, tables=tables, facts=window_facts(notes))]


def _truncated_fits(notes: TimedNotes) -> dict[str, list[Any]]:
    rows: dict[str, list[Any]] = {"player": list(notes.players), "bias_ms": [], "spread_ms": [], "seen": []}
    for p in range(len(notes.players)):
        own = notes.where((notes.player == p) & notes.hit)
        fit = None
        if len(own) >= 20:
            low, high = -float(np.median(own.early_us)), float(np.median(own.late_us))
            judged = own.judged_us
            fit = truncated_normal_fit(judged[(judged >= low) & (judged <= high)], low, high)
        offset = float(np.median(own.offset_us)) if len(own) else 0.0
        rows["bias_ms"].append(np.nan if fit is None else (fit.mean_us + offset) / 1000)
        rows["spread_ms"].append(np.nan if fit is None else fit.spread_us / 1000)
        rows["seen"].append(np.nan if fit is None else fit.inside)
    return rows


def _latency(notes: TimedNotes, errors: PlayerErrors, warnings: tuple[str, ...]) -> Finding:
    captures = len(notes.captures)
    cell, first = np.unique(notes.player * captures + notes.capture, return_inverse=True)
    bias = group_medians(first.reshape(-1), notes.error_us, len(cell))
    found = compare_captures(bias, cell // captures, cell % captures, captures)
    mean = mean_of_players(errors.bias_us / 1000)
    centre = (
        "No press was near a note."
        if mean.value is None
        else (
            f"Presses fall {mean.value:+.0f} ms from their notes on average. People asked to tap with a sound they hear"
            " tap some tens of ms before it (Repp 2005), so a console whose players press on the beat or after it"
            " probably adds about that much itself; only the sum is known, and only the sum matters for the input"
            f" offset{_today(notes)}."
        )
    )
    lag = found.difference.times(0.001, "ms")
    if found.how and lag.value is not None and lag.low is not None and lag.high is not None:
        told = lag.low * lag.high > 0 and found.p is not None and found.p < 0.05
        whose = "the same players" if found.how == "within" else "different players, who may differ by themselves"
        apart = (
            f" Between the logs, {notes.captures[found.highest]} lies {lag.value:.0f} ms behind"
            f" {notes.captures[found.lowest]} (between {lag.low:+.0f} and"
            f" {lag.high:+.0f} ms; {whose})"
            + (
                ": more than chance, so probably the console's, if nothing else was changed between the logs."
                if told and found.how == "within"
                else ": more than chance, so one console probably lags."
                if told
                else ": within chance."
            )
        )
    elif captures > 1:
        apart = " The logs cannot be compared: let at least three players play on two consoles, or three on each."
    else:
        apart = " All came in one log: let at least three players play on a second console to tell its share apart."
    facts = {
        "difference_ms": lag.value,
        "low_ms": lag.low,
        "high_ms": lag.high,
        "p": found.p,
        "how": found.how,
        **window_facts(notes),
    }
    table = {"capture": list(notes.captures), "players": found.players, "bias_ms": found.bias_us / 1000}
    return LATENCY.finding(rests_on(notes, warnings), centre + apart, mean.in_unit("ms"), {"captures": table}, facts)


def _today(notes: TimedNotes) -> str:
    """The offset in force, where it is one."""
    offset = window_facts(notes)["offset_ms"]
    return f" ({offset:+.0f} ms today)" if np.isfinite(offset) else ""


def _polling(notes: TimedNotes, warnings: tuple[str, ...]) -> list[Finding]:
    pressed = notes.pressed
    declared = notes.poll_us[np.isfinite(notes.poll_us)]
    if len(declared):
        poll: float | None = float(np.median(declared))
    else:
        poll = polling_period_us((notes.due_us + np.nan_to_num(notes.error_us))[pressed], notes.run[pressed])
    if poll is None or poll <= 0:
        return []
    facts = window_facts(notes)
    says = (
        f"The buttons are read every {poll / 1000:.3g} ms{'' if len(declared) else ' (seen in the presses)'}: a press"
        f" is seen {poll / 2000:.3g} ms late on average and scattered by {poll / 1000 / np.sqrt(12):.2g} ms."
    )
    width = facts["early_ms"] + facts["late_ms"]
    lost = gained = float("nan")
    own: tuple[str, ...] = ()
    if np.isfinite(width):
        lost, gained = lost_to_polling(notes.judged_us, notes.early_us, notes.late_us, poll)
        says += f" That alone turned {percent(lost)} of the notes from hits into misses and {percent(gained)} the"
        says += " other way."
        if width < poll / 1000:
            own = (
                f"The window ({width:.0f} ms wide) is narrower than the polling period ({poll / 1000:.3g} ms): a"
                " perfect press can miss. Poll faster or widen the window.",
            )
    facts |= {
        "poll_ms": poll / 1000,
        "declared": int(len(declared) > 0),
        "lost": lost,
        "gained": gained,
        "width_ms": width,
    }
    return [POLLING.finding(rests_on(notes, warnings + own), says, facts=facts)]
