"""What a new board sends before the first packet is understood, in words that somebody at the table can act on."""

from dataclasses import dataclass
from enum import Enum, auto

import numpy as np

from ingest.study.capture_counts import About, Notice
from ingest.wire.framing import REASONS, Damage, Packets

# A console that plays sends something all the time; the recorder's slowest round, of settings alone, is far shorter.
SILENT_S = 5.0
# So many bytes are judged: two of the longest packets. Of less one cannot tell what they are. Common sense, no source.
LEAST_BYTES = 256
# Of random bytes 98 in 256 could be text; of 256 such bytes not one time in 10^60 are so many. Arithmetic, no source.
TEXT_SHARE = 0.95
# From this share of the frames on it is not the line that spoils them. Common sense, no source.
CRC_SHARE, LEAST_FRAMES = 0.8, 5
USUAL_BAUDS = (9600, 19200, 38400, 57600, 115200, 230400, 460800, 921600)
_SAMPLE = 40
_TEXT = np.isin(np.arange(256), [9, 10, 13, *range(32, 127)])
_CRC = next(code for code, reason in REASONS.items() if reason == Damage.CRC)


class Verdict(Enum):
    """What the bytes so far are."""

    UNDERSTOOD = auto()  # a packet with a right checksum was among them
    NOTHING = auto()
    TOO_LITTLE = auto()
    TEXT = auto()
    CHECKSUMS = auto()  # packets, each with a wrong checksum: the baud rate is right
    NOISE = auto()


@dataclass
class FirstBytes:
    """Counts what comes until the first packet whose checksum is right."""

    came: int = 0
    text: int = 0  # bytes that could be text
    frames: int = 0  # that were no packets
    crc: int = 0  # of these, frames of which only the checksum was wrong
    sample: str = ""
    packet_at: int | None = None  # where in the log the first packet begins

    @property
    def understood(self) -> bool:
        """Whether a packet came."""
        return self.packet_at is not None

    def take(self, chunk: bytes, packets: Packets) -> None:
        """The next bytes, and what the framer made of them."""
        if self.understood:
            return
        if len(packets.offset):
            self.packet_at = int(packets.offset[0])
            return
        could_be = _TEXT[np.frombuffer(chunk, np.uint8)]
        self.came += len(chunk)
        self.text += int(could_be.sum())
        self.frames += len(packets.bad_code)
        self.crc += int((packets.bad_code == _CRC).sum())
        if len(self.sample) < _SAMPLE:
            self.sample += "".join(chr(b) if 32 <= b < 127 else " " for b in chunk[: _SAMPLE - len(self.sample)])

    @property
    def verdict(self) -> Verdict:
        """What they are. A few frames tell as much as many bytes: of noise most are zeros, which only part frames."""
        if self.understood:
            return Verdict.UNDERSTOOD
        if not self.came:
            return Verdict.NOTHING
        if self.came < LEAST_BYTES and self.frames < LEAST_FRAMES:
            return Verdict.TOO_LITTLE
        if self.text >= TEXT_SHARE * self.came:
            return Verdict.TEXT
        if self.frames >= LEAST_FRAMES and self.crc >= CRC_SHARE * self.frames:
            return Verdict.CHECKSUMS
        return Verdict.NOISE

    def notice(self, baud: int | None, waited_s: float | None) -> Notice | None:
        """What is to be told, if anything. baud: of a serial line, else None; waited_s: how long it has been read."""
        match self.verdict:
            case Verdict.NOTHING if waited_s is not None and waited_s >= SILENT_S:
                return _silent(baud)
            case Verdict.TEXT:
                return Notice(
                    About.LINE,
                    0,
                    f'What comes is text and no packet of the recorder: "{" ".join(self.sample.split())}".',
                    "Something else writes to this line, such as printf: give the recorder a UART of its own, or take "
                    "the text out. If it is another port's line, `setscrew ports` lists them all.",
                )
            case Verdict.CHECKSUMS:
                return Notice(
                    About.LINE,
                    0,
                    f"{self.crc:,} packets came, each with a wrong checksum, and none with a right one.",
                    "The baud rate is right. Send exactly the bytes that the recorder gives, each once and in their "
                    "order; if you wrote the recorder yourself, hold its checksum against ingest/FORMAT.md, section 1.",
                )
            case Verdict.NOISE:
                return Notice(About.LINE, 0, f"{self.came:,} bytes came, and no packet is among them.", _noise(baud))
        return None


def _noise(baud: int | None) -> str:
    remedy = "See that it is the recorder that sends here, and that each of its bytes is sent once, in their order."
    if baud is None:
        return remedy
    usual = ", ".join(map(str, USUAL_BAUDS))
    return (
        f"Most likely the console sends at another baud rate than {baud:,}: look into its firmware, end this "
        f"recording, and name that rate with --baud (usual ones: {usual}), or name none: then these are tried, where a "
        f"line is behind the port. If they are the same, check the console's clock and the ground wire. {remedy}"
    )


def _silent(baud: int | None) -> Notice:
    remedy = "See that the console runs and that the recorder's bytes are sent."
    if baud is not None:
        remedy = (
            "See that the console is switched on and its firmware runs; that its TX goes to the RX of the adapter, and "
            "not to its TX; that both have one ground; and that this is its port (`setscrew ports`). " + remedy
        )
    return Notice(About.LINE, 0, "Nothing has come yet, not one byte.", remedy)
