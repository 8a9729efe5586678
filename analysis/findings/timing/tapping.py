"""Each player's timing: bias, spread, lapses."""

import numpy as np

from analysis.finding import Finding
from analysis.findings.declared import Column, Declared, estimate_cells, estimate_columns
from analysis.findings.timing.window_in_force import IN_FORCE, between, rests_on, window_facts
from analysis.stats.players.ranks import median_of_players
from analysis.stats.players.within_player import mean_of_players
from analysis.stats.rhythm.timed_notes import TimedNotes
from analysis.stats.rhythm.timing_errors import PlayerErrors
from analysis.words import percent, signed

PLAYERS = Declared(
    "timing.players",
    "timing",
    "Each player's hands: bias, spread, lapses",
    "timing.errors",
    {
        "players": (
            Column("player", "", "tag of the player"),
            Column("notes", "", "notes that came due"),
            Column("runs", "", "runs they came due in"),
            *estimate_columns("bias_ms", "ms", "median of press less due; negative is early", "bias_"),
            Column("spread_ms", "ms", "standard deviation of the errors, from their quartiles"),
            Column("lapses", "share", "of the notes, those without a press"),
            Column("strays", "", "presses that no note claims, to a hundred notes"),
            Column("hit", "share", "of the notes, those hit in the window in force"),
            Column("autocorrelation", "", "of neighbouring errors of a run"),
        ),
        "errors": (
            Column("bin_ms", "ms", "middle of the bin: press less due"),
            Column("presses", "", "presses of all players in it"),
        ),
    },
    (*IN_FORCE, *estimate_columns("spread_ms", "ms", "of the median player", "spread_")),
)


def of_players(notes: TimedNotes, errors: PlayerErrors, warnings: tuple[str, ...]) -> Finding:
    bias, spread = mean_of_players(errors.bias_us / 1000), median_of_players(errors.spread_us / 1000)
    if bias.value is None:
        headline, says = "", "No press lies near any note, so nothing can be said of anybody's timing."
    else:
        side = "early" if bias.value < 0 else "late"
        headline = says = f"Players press {abs(bias.value):.0f} ms {side} on average"
        if abs(bias.value) < 0.5:
            headline = says = "Players press within 1 ms of the note on average"
        if bias.low is not None and bias.high is not None:
            says += f" (between {signed(bias.low)} and {signed(bias.high, 'ms')})"
        says += f"; the median player scatters by {between(spread)} and leaves {percent(np.nanmedian(errors.lapses))}"
        says += " of the notes"
        says += " without a press."
    distance = notes.error_us[notes.pressed] / 1000
    edges = np.arange(-notes.reach_us / 1000, notes.reach_us / 1000 + 5, 5)
    table = {
        "player": list(notes.players),
        "notes": errors.notes,
        "runs": errors.runs,
        "bias_ms": errors.bias_us / 1000,
        "bias_low": errors.bias_low_us / 1000,
        "bias_high": errors.bias_high_us / 1000,
        "spread_ms": errors.spread_us / 1000,
        "lapses": errors.lapses,
        "strays": errors.strays,
        "hit": errors.hit,
        "autocorrelation": errors.autocorrelation,
    }
    tables = {"players": table, "errors": {"bin_ms": edges[:-1] + 2.5, "presses": np.histogram(distance, edges)[0]}}
    doubtful = not bias.excludes(0)
    if headline and doubtful:
        headline = "Players are not shown to press early, or late"
    return PLAYERS.finding(
        rests_on(notes, warnings),
        says,
        bias.in_unit("ms"),
        tables,
        {**window_facts(notes), **estimate_cells("spread_ms", spread, "spread_")},
        headline=f"{headline}." if headline else "",
        doubtful=doubtful,
    )
