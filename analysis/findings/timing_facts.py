"""The window in force, which every timing figure shows."""

import numpy as np

from analysis.stats.timed_notes import TimedNotes


def window_facts(notes: TimedNotes) -> dict[str, float]:
    """Window and offset in force, in ms: medians over notes where they differ between songs or builds."""
    columns = {"early_ms": notes.early_us, "late_ms": notes.late_us, "offset_ms": notes.offset_us}
    return {
        name: float(np.median(column[np.isfinite(column)])) / 1000
        if np.isfinite(column).any()
        else float("nan")
        for name, column in columns.items()
    }
