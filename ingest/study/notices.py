"""What people are told of a log beside its counts: what of its dictionary was refused, a clock that stands still.

The same words come while it is recorded, when it is ingested, and on the page that says whether it can be trusted.
"""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from ingest.study.capture_counts import About, Notice

if TYPE_CHECKING:
    from ingest.capture.stopped_clock import Stop

_CUT = "Cut the log into its sessions and ingest each."
_TOO_MANY_RESETS = "From byte {:,} of the log on nothing is read: the console was reset too often for one log."
# So many of a log are kept; more can only come from a log that means harm.
MOST_NOTICES = 200

MEND = (
    "Mend that part of the dictionary in the game's header. The log is read without it, or with a corrected dictionary "
    "laid beside it (ingest/CAPTURE.md)."
)


_CLOCK = (
    "The recorder needs a clock that counts 32 bits and only goes forward: widen a 16-bit timer, or one that is reset "
    "(ingest/recorder/README.md)."
)


def clock(stops: Sequence["Stop"], back: int, back_offset: int, timeless_runs: int) -> list[Notice]:
    """What is wrong with the console's clock: where it stood, how often it ran back, how many runs lasted 0 s by it."""
    told = []
    if stops:
        packets = sum(stop.packets for stop in stops)
        told.append(
            f"The console's clock stood still: from byte {stops[0].offset:,} of the log on, {packets:,} packets of "
            f"events came {'at one and the same time' if len(stops) == 1 else f'at {len(stops)} times'}."
        )
    if timeless_runs:
        runs = "1 run lasts" if timeless_runs == 1 else f"{timeless_runs:,} runs last"
        told.append(f"{runs} 0 s by the console's clock.")
    if told:
        told.append("Such runs are left out, for nobody knows how long they were.")
    if back:
        times = "once" if back == 1 else f"{back:,} times"
        told.append(
            f"The console's clock ran back {times} without a reset, first at byte {back_offset:,}: there the log "
            "reads as a new power-up, and the run is cut."
        )
    offset = min([*(stop.offset for stop in stops), *([back_offset] if back else [])], default=0)
    return [Notice(About.CLOCK, offset, " ".join(told), _CLOCK)] if told else []


def limits(last_told: int | None, builds: bool, stopped_at: int | None) -> list[Notice]:
    """What one log had too much of: from the byte `last_told` on, events that runs are built from; builds; and from the
    byte `stopped_at` on, resets."""
    told = []
    if stopped_at is not None:
        told.append(Notice(About.LIMIT, stopped_at, _TOO_MANY_RESETS.format(stopped_at), _CUT))
    if last_told is not None:
        what = f"From byte {last_told:,} of the log on its events are kept without runs: it has too many for one log."
        told.append(Notice(About.LIMIT, last_told, what, _CUT))
    if builds:
        what = "There are too many builds for one log: the values of some runs' tunables are left out."
        told.append(Notice(About.LIMIT, 0, what, _CUT))
    return told


def too_many_resets(stopped_at: int) -> Notice:
    """The notice of a log of which nothing is read from the byte `stopped_at` on, for the time of the recording."""
    return Notice(
        About.LIMIT,
        stopped_at,
        _TOO_MANY_RESETS.format(stopped_at),
        "Every byte is still kept, but no run behind that byte is shown here or comes into the study. End this "
        "recording and start a new one, which is read from its own beginning; then look why the console starts anew so "
        "often: its supply, its reset line, a watchdog.",
    )


def refused_whole(refusal: str) -> Notice:
    """The notice of a dictionary that cannot be used at all, for the time of the recording."""
    return Notice(
        About.DICTIONARY,
        0,
        f"The dictionary was refused, so that nothing of this log can be read yet: {refusal}.",
        "The recording goes on and loses nothing. Mend the game's header and flash it again; what is recorded already "
        "can be read with a corrected dictionary laid beside it (ingest/CAPTURE.md).",
    )


def refused_parts(byte_offset: int, refused: Iterable[str]) -> list[Notice]:
    """The notices of a dictionary whose last byte came in the packet at `byte_offset`."""
    return [Notice(About.DICTIONARY, byte_offset, f"{one[:1].upper()}{one[1:]}.", MEND) for one in refused]
