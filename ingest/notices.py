"""What people are told of a log beside its counts: what of its dictionary was refused, a clock that stands still.

The same words come while it is recorded, when it is ingested, and on the page that says whether it can be trusted.
"""

from collections.abc import Iterable

from ingest.capture_counts import About, Notice

# So many of a log are kept; more can only come from a log that means harm.
MOST_NOTICES = 200

MEND = (
    "Mend it in the game's header. This log is read without it, or with a corrected dictionary laid beside it "
    "(ingest/CAPTURE.md)."
)


def refused_whole(refusal: str) -> Notice:
    """The notice of a dictionary that cannot be used at all, for the time of the recording."""
    return Notice(
        About.DICTIONARY, 0,
        f"The dictionary was refused, so that nothing of this log can be read yet: {refusal}.",
        "The recording goes on and loses nothing. Mend the game's header and flash it again; what is recorded already "
        "can be read with a corrected dictionary laid beside it (ingest/CAPTURE.md).",
    )  # fmt: skip


def refused_parts(byte_offset: int, refused: Iterable[str]) -> list[Notice]:
    """The notices of a dictionary whose last byte came in the packet at `byte_offset`."""
    return [Notice(About.DICTIONARY, byte_offset, f"{one[:1].upper()}{one[1:]}.", MEND) for one in refused]
