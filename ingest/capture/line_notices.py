"""What people are told where the line carries less than the game logs: is baud rate, polling or ring to blame?

All of it from the log's own evidence: what was dropped, and how much went over the line while there was no room.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from ingest.study.capture_counts import About, Notice

# From this share of what the baud rate carries on, the line is called full. A transmitter fed by interrupt leaves
# hardly a gap; one that is polled once a frame reaches a few per cent. In between there is little. Common sense, no
# source.
FULL_LINE = 0.7
# From this on it is no line of that baud rate: a port over USB carries what it likes. Common sense, no source.
NO_SUCH_LINE = 1.2
# Less than this, and the ring was too small for a burst only. Common sense, no source: the largest ring there is
# (32 KiB) is empty within three seconds at 115,200 baud, the smallest within a twentieth of one.
LEAST_PACKETS, LEAST_S = 4, 1.0
# A stop bit and a start bit beside each eight.
_BITS = 10
_CHUNK = 111  # bytes of dictionary in a packet (FORMAT.md, section 4)

_POLLING = (
    "The console does not send as often as the line could take bytes: send by interrupt, or ask playlog_next_byte() "
    "far more often than once a frame (at 60 frames a second a UART without a FIFO takes 120 bytes a second so). If it "
    "does send by interrupt, something else turns that interrupt off."
)
_BAUD = (
    "Raise the baud rate on both sides (115,200 carries 11,520 bytes a second), or log positions less often; a larger "
    "ring only puts it off."
)
_RING = "Give the recorder a larger ring, the next power of two; the line itself is fast enough for what the game logs."
_RING_AND_LINE = "Give the recorder a ring of 1,024 bytes or more, and a line that carries what the game logs."
_RESET = (
    "Reset the console: it sends all of it at once then. Otherwise it comes in pieces{rounds}: one in 2 s at first, "
    "one in 15 s later."
)
_BESIDE = "What has come can be read with the dictionary of a sound log of the same build (ingest/CAPTURE.md)."


@dataclass(frozen=True)
class Line:
    """What is known of a line: its baud rate (None: not known, or none), and the bytes a second that went over it while
    the ring was full (None: it never was for long)."""

    baud: int | None
    full_bytes_per_s: float | None

    @property
    def blame(self) -> tuple[str, str]:
        """(what was seen, remedy)."""
        rate = self.full_bytes_per_s
        if rate is None:
            return "Room was short in bursts only.", _RING
        carries = None if self.baud is None else self.baud / _BITS
        if carries is None or rate > NO_SUCH_LINE * carries:
            return (
                f"All the while it sent {rate:,.0f} bytes a second.",
                f"A line carries a tenth of its baud rate a second (115,200: 11,520 bytes). If that is about "
                f"{rate:,.0f} here: {_first_small(_BAUD)} If it is far more: {_first_small(_POLLING)}",
            )
        sent = f"{rate:,.0f} of the {carries:,.0f} bytes a second that {self.baud:,} baud carry"
        if rate >= FULL_LINE * carries:
            return f"All the while the line was full: it carried {sent}.", _BAUD
        return f"All the while it sent only {sent}.", _POLLING


def full_rate(packets: int, bytes_: int, seconds: float) -> float | None:
    """Bytes a second while the ring was full; None where it was not for long enough to tell."""
    return bytes_ / seconds if packets >= LEAST_PACKETS and seconds >= LEAST_S else None


def dropped(offset: int, events_dropped: int, events: int, line: Line) -> Notice:
    """The notice of a console that dropped events, `events` of which came."""
    seen, remedy = line.blame
    share = events_dropped / (events_dropped + events)
    return Notice(
        About.DROPS,
        offset,
        f"The console had no room for {events_dropped:,} {'event' if events_dropped == 1 else 'events'}, "
        f"{_percent(share)} of what the game logged. {seen}",
        remedy,
    )


def no_dictionary(offset: int, waiting_bytes: int, there: int, total: int, events_dropped: int, line: Line) -> Notice:
    """The notice of events that cannot be read, for of the dictionary only `there` of `total` bytes (0: none) came."""
    pieces = f"of its {total:,} bytes {there:,} came ({_percent(there / total)})" if total else "none of it came"
    what = f"{waiting_bytes:,} bytes of events have come without their dictionary: {pieces}."
    remedy = _RESET.format(rounds=f", {-(-total // _CHUNK)} in all" if total else "")
    if events_dropped:
        # That is not why the dictionary is missing: where events take all of the line, the recorder drops some for it.
        seen, mend = line.blame
        if line.full_bytes_per_s is None:
            seen, mend = "", _RING_AND_LINE
        events = "event" if events_dropped == 1 else "events"
        what = f"{what} Besides, the console dropped {events_dropped:,} {events}. {seen}".rstrip()
        remedy = f"{remedy} Against the drops: {_first_small(mend)}"
    return Notice(About.MISSING, offset, what, f"{remedy} {_BESIDE}")


def rate_found(noise_bytes: int, tried: Sequence[int], baud: int) -> Notice:
    """The notice of a log whose beginning was heard at other baud rates than that of the console."""
    others = f" at {', '.join(f'{rate:,}' for rate in tried)} baud" if tried else ""
    what = (
        f"The first {noise_bytes:,} bytes were heard{others}, before the console's rate was found, {baud:,} baud: they "
        "are in the file, and count as no damage."
    )
    return Notice(About.RATE, 0, what, f"Nothing need be done. To lose no time next time, record with --baud {baud}.")


def _first_small(words: str) -> str:
    return words[:1].lower() + words[1:]


def _percent(share: float) -> str:
    return "less than 1 %" if share < 0.01 else f"{100 * share:.0f} %"
