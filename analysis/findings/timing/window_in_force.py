"""What every finding on timing rests on and shows: the notes, and the window in force."""

from dataclasses import dataclass

import numpy as np

from analysis.findings.declared import Column
from analysis.stats.timed_notes import TimedNotes

IN_FORCE = (
    Column("early_ms", "ms", "how early a press may be in the window in force, median over notes"),
    Column("late_ms", "ms", "how late a press may be, likewise"),
    Column("offset_ms", "ms", "input offset in force, likewise"),
)


@dataclass(frozen=True)
class Rested:
    """What a finding on notes rests on."""

    notes: TimedNotes
    warnings: tuple[str, ...]

    @property
    def players(self) -> int:
        return len(self.notes.players)

    @property
    def runs(self) -> int:
        return self.notes.player_runs


def window_facts(notes: TimedNotes) -> dict[str, float]:
    """Window and offset in force, in ms: medians over notes where they differ between songs or builds."""
    columns = {"early_ms": notes.early_us, "late_ms": notes.late_us, "offset_ms": notes.offset_us}
    return {
        name: float(np.median(column[np.isfinite(column)])) / 1000 if np.isfinite(column).any() else float("nan")
        for name, column in columns.items()
    }
