"""How far one capture can be trusted: what was lost, what that can bias, what to change on the console."""

from dataclasses import dataclass
from enum import StrEnum

from analysis.words import counted, percent
from ingest.study.capture_counts import CaptureCounts

# From this share of lost events on, or where damage touches this share of the runs, a capture is doubtful. Common
# sense, no source: below it the losses are smaller than the intervals that a playtest of some dozens of runs has.
DOUBTFUL_EVENTS = 0.05
DOUBTFUL_RUNS = 0.25
# Of all that was seen in a capture so many are told in a verdict; the page lists them all.
MOST_TOLD = 5


class Grade(StrEnum):
    """From best to worst."""

    INTACT = "intact"  # nothing was lost
    DAMAGED = "damaged"  # something was, and is counted
    DOUBTFUL = "doubtful"  # so much was that it can change what is found
    UNUSABLE = "unusable"  # no event could be read


@dataclass(frozen=True)
class Verdict:
    """The grade; the share of all events that was lost, estimated; and what to say: lost, bias, what else, remedies."""

    grade: Grade
    lost_share: float
    lost: tuple[str, ...]
    bias: str
    fixes: tuple[str, ...]
    told: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """All of it in a few sentences."""
        lost = "; ".join(self.lost)
        said = f"{lost[:1].upper()}{lost[1:]}." if lost else "Nothing was lost."
        return " ".join([said, *([self.bias] if self.bias else []), *self._shortly(), *self.fixes])

    def _shortly(self) -> tuple[str, ...]:
        more = len(self.told) - MOST_TOLD
        return (*self.told[:MOST_TOLD], *([f"And {more} more of this kind."] if more > 0 else []))


def lost_events(counts: CaptureCounts) -> float:
    """Events that were logged and are not here: dropped ones as counted; a lost packet held as many as the others.

    A packet that arrived broken also leaves a gap in the sequence, so the larger of the two counts. Packets without a
    dictionary count by their bytes.
    """
    packets = max(counts.missing_packets, counts.rejected_packets + counts.newer_packets)
    per_packet = counts.events / counts.packets if counts.packets else 0.0
    read_bytes = counts.bytes - counts.unread_bytes
    per_byte = counts.events / read_bytes if counts.events and read_bytes > 0 else 0.0
    return counts.dropped_events + packets * per_packet + counts.unread_bytes * per_byte


def judge(counts: CaptureCounts) -> Verdict:
    """The verdict on one capture."""
    gone = lost_events(counts)
    share = gone / (gone + counts.events) if gone else 0.0
    lost = _lost(counts)
    grave = any(notice.grave for notice in counts.notices)
    told = (*_who(counts), *(notice.what for notice in counts.notices))
    fixes = tuple(dict.fromkeys([*(notice.remedy for notice in counts.notices), *_fixes(counts)]))
    if counts.events == 0 and (lost or counts.packets == 0):
        if counts.packets == 0:
            lost, fixes = (_nothing(counts), *lost), (*_remedy(counts), *fixes)
        return Verdict(Grade.UNUSABLE, 1.0, lost, "", fixes, told)
    if not lost:
        sound = not counts.open_runs and all(notice.harmless for notice in counts.notices)
        grade = Grade.DOUBTFUL if grave else Grade.INTACT if sound else Grade.DAMAGED
        return Verdict(grade, 0.0, (), "", fixes, told)
    touched = counts.damaged_runs / counts.runs if counts.runs else 0.0
    doubtful = grave or share >= DOUBTFUL_EVENTS or touched >= DOUBTFUL_RUNS
    are = "run is" if counts.runs == 1 else "runs are"
    bias = (
        f"About {percent(share)} of the events are missing and {counts.damaged_runs} of {counts.runs} {are} "
        "damaged: there, deaths and presses may be missing, and a lost end makes a run look cut."
        if counts.damaged_runs
        else "No run is damaged: what was lost lies between runs."
    )
    return Verdict(Grade.DOUBTFUL if doubtful else Grade.DAMAGED, share, lost, bias, fixes, told)


def _lost(counts: CaptureCounts) -> tuple[str, ...]:
    said = (
        (counts.rejected_packets, "packet arrived broken", "packets arrived broken"),
        (counts.missing_packets, "packet never arrived whole", "packets never arrived whole"),
        (counts.dropped_events, "event did not fit the console's buffer", "events did not fit the console's buffer"),
        (counts.unread_bytes, "byte came without its dictionary", "bytes came without their dictionary"),
        (counts.newer_packets, "packet is of a newer format", "packets are of a newer format"),
    )
    lost = tuple(counted(count, one, many) for count, one, many in said if count)
    return lost if counts.refusal is None else (*lost, f"the dictionary was refused: {counts.refusal}")


def _who(counts: CaptureCounts) -> tuple[str, ...]:
    """What is to be told of runs whose start or whose player is not known."""
    said = (
        (
            counts.lost_starts,
            "The start of 1 run was lost: it begins with what is left of it.",
            f"The starts of {counts.lost_starts} runs were lost: they begin with what is left of them.",
        ),
        (
            counts.open_runs,
            "Who played 1 run is open: it counts for nobody.",
            f"Who played {counts.open_runs} runs is open: they count for nobody.",
        ),
    )
    return tuple(one if count == 1 else many for count, one, many in said if count)


def _nothing(counts: CaptureCounts) -> str:
    if counts.bytes == 0:
        return "the file is empty"
    return f"in {counted(counts.bytes, 'byte')} not one packet could be read"


def _remedy(counts: CaptureCounts) -> tuple[str, ...]:
    """What may be wrong with a file without a packet; a newer format is remedied by itself."""
    if counts.bytes == 0:
        return ("Was the console switched on, its wire connected, and playlog_init() called?",)
    return () if counts.newer_packets else ("Is this a play log, and were baud rate and wiring right?",)


def _fixes(counts: CaptureCounts) -> tuple[str, ...]:
    """What to do about it, the most telling first. Trade knowledge of serial lines, no source."""
    fixes = []
    told = {notice.about for notice in counts.notices}  # with remedies of their own
    if counts.open_runs:
        fixes.append("Say on the page 'Runs and notes' who played the open runs.")
    if counts.refusal is not None:
        fixes.append(
            "The raw log is kept: lay a corrected dictionary beside it and ingest again (ingest/CAPTURE.md), and mend "
            "the game's header."
        )
    elif counts.unread_bytes and "missing" not in told:
        fixes.append("Start the recording before the console, or let it run longer: the dictionary comes again.")
    if counts.dropped_events and not told & {"drops", "missing"}:
        fixes.append("Give the recorder a larger buffer, a faster baud rate, or log positions less often.")
    if counts.rejected_packets:
        fixes.append(
            "Check ground and wires, that both sides have one baud rate, and that nothing else prints to this port."
        )
    elif counts.missing_packets:
        fixes.append("Whole packets are missing: close other programs that read the port, and try another adapter.")
    if counts.newer_packets:
        fixes.append("A newer Setscrew reads the newer packets.")
    return tuple(fixes)
