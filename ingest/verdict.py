"""How far one capture can be trusted, in a word and in words."""

from dataclasses import dataclass
from enum import StrEnum

from ingest.store import ImportResult


class Grade(StrEnum):
    """From best to worst."""

    INTACT = "intact"
    DAMAGED = "damaged"
    UNUSABLE = "unusable"  # nothing could be read


@dataclass(frozen=True)
class Verdict:
    """The grade, and a sentence or more that say what was lost."""

    grade: Grade
    words: str


def judge(result: ImportResult) -> Verdict:
    """The verdict on one capture."""
    lost = [
        f"{count} {what}"
        for count, what in (
            (result.rejected_packets, "packets arrived broken"),
            (result.missing_packets, "packets never arrived"),
            (result.dropped_events, "events did not fit the console's buffer"),
            (result.unread_bytes, "bytes have no dictionary"),
            (result.newer_packets, "packets are of a newer format; a newer Setscrew reads them"),
        )
        if count
    ]
    if result.refusal is not None:
        lost.append(f"the dictionary was refused: {result.refusal}")
    if result.events == 0 and result.packets == 0:
        return Verdict(
            Grade.UNUSABLE, "No packet could be read: is this a play log, and was the baud rate right?"
        )
    if result.events == 0 and lost:
        return Verdict(Grade.UNUSABLE, f"No event could be read: {'; '.join(lost)}.")
    if lost:
        return Verdict(
            Grade.DAMAGED,
            f"{'; '.join(lost).capitalize()}; {result.damaged_runs} of {result.runs} runs are marked damaged.",
        )
    return Verdict(Grade.INTACT, "Nothing was lost.")
