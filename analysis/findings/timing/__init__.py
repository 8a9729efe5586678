"""Do they hit the note: shares and windows, players, songs, and what the console itself adds.

Times are in ms, early ones negative; shares run from 0 to 1.
"""

import numpy as np

from analysis.finding import Finding
from analysis.findings.basis import nothing
from analysis.findings.timing import along_songs, console_delays, hit_shares, songs_held_fixed, tapping, verdicts
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.stats.rhythm.timing_errors import errors_by_player
from analysis.timing_data import left_out, read_timing

QUESTION = "timing"


def find(reader: Reader, selection: Selection) -> list[Finding]:
    """Every timing finding; one that says so where no note came due in the selection."""
    notes = read_timing(reader, selection)
    if notes is None:
        return [nothing(QUESTION, "No note came due in the chosen runs: a game tells of its notes by the role `note`.")]
    shared = left_out(reader, selection) + console_delays.logging_warning(notes)
    errors = errors_by_player(notes)
    found = [
        tapping.of_players(notes, errors, shared),
        *along_songs.find(notes, shared),
        *songs_held_fixed.find(notes, shared),
        *console_delays.find(notes, errors, shared),
    ]
    if np.isfinite(notes.early_us).any():
        found = [*hit_shares.find(notes, shared), *found]
    return found + verdicts.find(reader, selection, notes.player_runs)
