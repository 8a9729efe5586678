"""What every finding on timing rests on and shows: the notes, and the window in force."""

import numpy as np

from analysis.findings.declared import Column, Size
from analysis.stats.estimate import Estimate
from analysis.stats.rhythm.timed_notes import TimedNotes

IN_FORCE = (
    Column("early_ms", "ms", "how early a press may be in the window in force, median over notes; unknown over builds"),
    Column("late_ms", "ms", "how late a press may be, likewise"),
    Column("offset_ms", "ms", "input offset in force, likewise"),
)
_COLUMNS = ("early_us", "late_us", "offset_us")


def rests_on(notes: TimedNotes, warnings: tuple[str, ...]) -> Size:
    """What a finding on notes rests on."""
    return Size(len(notes.players), notes.player_runs, warnings)


def between(median: Estimate) -> str:
    """The median player's value in ms, and its interval in brackets where it has one."""
    if median.low is None:
        return f"{median.value:.0f} ms"
    if median.high is None:
        return f"{median.value:.0f} ms ({median.low:.0f} ms or more)"
    return f"{median.value:.0f} ms (between {median.low:.0f} and {median.high:.0f} ms)"


def window_facts(notes: TimedNotes) -> dict[str, float]:
    """Window and offset in force, in ms: medians over notes where they differ between songs, NaN where they differ
    between builds, for then no one window is in force."""
    apart = len(builds_apart(notes)) > 1
    facts = {}
    for name in _COLUMNS:
        known = getattr(notes, name)[np.isfinite(getattr(notes, name))]
        facts[name.replace("_us", "_ms")] = float(np.median(known)) / 1000 if known.size and not apart else float("nan")
    return facts


def builds_apart(notes: TimedNotes) -> list[tuple[str, TimedNotes]]:
    """The notes of each build, in the order of their names, where windows or offsets differ between builds; otherwise
    all together under the names of all."""
    played = [(notes.builds[b], notes.where(notes.build == b)) for b in np.unique(notes.build).tolist()]
    if len({_settings(own) for _, own in played}) <= 1:
        return [(" and ".join(name for name, _ in played), notes)]
    return played


def _settings(notes: TimedNotes) -> frozenset[tuple[float, ...]]:
    """What is in force in each song."""
    rows = np.stack([notes.song, *(np.nan_to_num(getattr(notes, name), nan=-1.0) for name in _COLUMNS)], axis=1)
    return frozenset(map(tuple, np.unique(rows, axis=0).tolist()))


def in_force(notes: TimedNotes) -> str:
    """The window of one build in words; from the least to the most where songs have windows of their own."""
    early, late, offset = (_from_to(getattr(notes, name)) for name in _COLUMNS)
    return f"{early} ms early to {late} ms late, input offset {offset} ms"


def _from_to(column: np.ndarray) -> str:
    known = column[np.isfinite(column)] / 1000
    if not known.size:
        return "unknown"
    least, most = (f"{edge:.0f}" for edge in (known.min(), known.max()))
    return least if least == most else f"from {least} to {most}"
