"""What was counted in one capture, and what else is told of it: by this it is trusted, wherever it is spoken of."""

import re
from dataclasses import dataclass
from enum import StrEnum


class About(StrEnum):
    """What a notice is about. The value is kept in the study."""

    DICTIONARY = "dictionary"  # a part of it was refused
    CLOCK = "clock"  # it stood still or ran back
    MISSING = "missing"  # the dictionary never came
    DROPS = "drops"  # the console had no room for what the game logged
    LINE = "line"  # no packet has come: nothing, text, or bytes that are none; told while recording only
    RATE = "rate"  # the first bytes were heard at another baud rate than the console's
    LIMIT = "limit"  # it claims more than is kept of one log
    GIVEN = "given"  # a corrected one lies beside the log
    COPY = "copy"  # another log holds the same power-up
    WITHHELD = "withheld"  # runs of it were taken out, since their player withdrew


@dataclass(frozen=True)
class Notice:
    """`what` was seen, from `byte_offset` of the log on, and the `remedy`: whole sentences both."""

    about: About
    byte_offset: int
    what: str
    remedy: str

    @property
    def topic(self) -> str:
        """The same for two notices that differ in their numbers alone: who was told one need not be told the other."""
        return self.what if self.about == About.DICTIONARY else f"{self.about} {re.sub('[0-9,]+', '', self.remedy)}"

    @property
    def harmless(self) -> bool:
        """Whether nothing of the log is worse for it."""
        return self.about in (About.GIVEN, About.COPY, About.RATE, About.WITHHELD)

    @property
    def grave(self) -> bool:
        """Whether it can change what is found."""
        return self.about == About.CLOCK

    @property
    def words(self) -> str:
        """Both."""
        return f"{self.what} {self.remedy}"


@dataclass(frozen=True, kw_only=True)
class CaptureCounts:
    """Columns of `captures`, and of its runs and power-ups.

    `refusal`: why its dictionary was refused as a whole, or None. `notices`: what else is to be told of it.
    """

    bytes: int
    packets: int
    events: int
    runs: int
    rejected_packets: int
    missing_packets: int
    dropped_events: int
    tail_bytes: int
    unread_bytes: int
    newer_packets: int
    refusal: str | None
    power_ups: int
    damaged_runs: int
    cut_runs: int
    lost_starts: int
    open_runs: int
    notices: tuple[Notice, ...] = ()
