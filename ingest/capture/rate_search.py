"""Which baud rate to listen at until the first packet is understood: while noise comes, the usual ones in turn.

Knows nothing of ports and reads no clock. Once a packet was understood the rate stays as it is, whatever comes.
"""

from ingest.capture.first_bytes import LEAST_BYTES, USUAL_BAUDS, FirstBytes, Verdict

# The most usual first. Common sense, no source.
_TRIED = (57600, 9600, 38400, 230400, 19200, 460800, 921600, 115200)
# A console that plays flushes its packets twice a second (FORMAT.md, section 2), and an
# adapter may still hand over what it heard at the rate before. Common sense, no source.
LEAST_S = 1.5
# On a line that is never quiet the last packet is always a part of one: so much holds several whole ones.
_MANY_BYTES = 4 * LEAST_BYTES
assert set(_TRIED) == set(USUAL_BAUDS)


class RateSearch:
    """Begins at `baud`. Times are seconds of one clock that never goes back."""

    def __init__(self, baud: int):
        self._rates = [baud, *(rate for rate in _TRIED if rate != baud)]
        self._at = 0
        self._since = 0.0
        self._rounds = 0
        self.done = False  # a packet was understood
        self._said: list[str] = []

    @property
    def baud(self) -> int:
        """The rate that is listened at."""
        return self._rates[self._at]

    @property
    def began(self) -> bool:
        """Whether another rate than the first has been listened at."""
        return self._at > 0 or self._rounds > 0

    @property
    def said(self) -> tuple[str, ...]:
        """What has been done so far, in words, the oldest first; nothing where the first rate was right."""
        return tuple(self._said)

    def judge(self, first: FirstBytes, now: float, quiet: bool) -> int | None:
        """The rate to listen at from now on, or None: stay.

        `first`: what was heard at this rate. `quiet`: nothing is coming just now, so that no packet is half here.
        """
        if self.done:
            return None
        if first.verdict == Verdict.UNDERSTOOD:
            self._found()
        elif first.verdict == Verdict.NOISE and now - self._since >= LEAST_S and (quiet or first.came >= _MANY_BYTES):
            return self._rates[(self._at + 1) % len(self._rates)] if len(self._rates) > 1 else None
        return None

    def listens(self, baud: int, now: float) -> None:
        """The port listens at `baud` now, which `judge` asked for."""
        before = self.baud
        self._at, self._since = self._rates.index(baud), now
        self._rounds += not self._at
        if not self._at and self._rounds == 1:
            self._said.append(
                f"What comes is no packet at any of {', '.join(f'{rate:,}' for rate in self._rates)} baud; they are "
                "tried again and again. Look into the firmware for its baud rate, and name it if it is another "
                "(--baud); check the console's clock, the ground wire, and that it is the recorder that sends here."
            )
        elif not self._rounds:
            self._said.append(f"What comes at {before:,} baud is no packet; trying {baud:,}.")

    def refused(self, baud: int) -> None:
        """The port cannot do `baud`: it is not asked for again."""
        before = self.baud
        self._rates.remove(baud)
        self._at = self._rates.index(before)

    def _found(self) -> None:
        self.done = True
        if self.began:
            self._said.append(
                f"Good packets at {self.baud:,} baud: the recording goes on at it. What was heard before is in the "
                f"file and counts as no damage. To skip the search, name this rate (--baud {self.baud})."
            )
