"""The sidecar of a recording: when the bytes arrived, and what people said while they did (CAPTURE.md).

It lies beside the raw log, `x.capture.jsonl` beside `x.playlog`, one JSON object a line. Reading it is pure
and lenient: it may have been cut in the middle of a line, and it is as untrusted as the log itself.
"""

import json
import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from ingest.capture.player_tag import player_tag

VERSION = 1
# Ten arrivals a second, which is the most that a recording writes, fill this in a dozen hours.
MAX_BYTES = 16 << 20
LONGEST_REMARK = 400
MOST_REMARKS = 100  # of one run; the sidecar keeps them all
_MOST_COUNT = 1 << 62
_MOST_RATES = 8


@dataclass(frozen=True)
class Said:
    """Something said when `byte` bytes had been received.

    `player` is a tag for the next run, or with `current` for the one in progress; None takes back the tags
    that still wait. `remark` is free text on the run in progress or the one before. `at`: second of the recording.
    """

    byte: int
    player: str | None = None
    current: bool = False
    remark: str | None = None
    at: float | None = None


@dataclass(frozen=True)
class Sidecar:
    """A sidecar as read. `arrivals` are (seconds since the start, bytes received by then), both ascending.

    `started` is the PC's clock in UTC as ISO 8601, or None; `baud` is None where the bytes came over no serial line.
    The first `noise_bytes` of the log were heard while other rates were tried; `tried` are these, in order, at most 8.
    `unread_lines` could not be understood.
    """

    started: str | None = None
    source: str | None = None
    baud: int | None = None
    arrivals: tuple[tuple[float, int], ...] = ()
    said: tuple[Said, ...] = ()
    lost_bytes: int = 0
    unread_lines: int = 0
    noise_bytes: int = 0
    tried: tuple[int, ...] = ()


@dataclass
class _Reading:
    started: str | None = None
    source: str | None = None
    baud: int | None = None
    arrivals: list[tuple[float, int]] = field(default_factory=list)
    said: list[Said] = field(default_factory=list)
    lost_bytes: int = 0
    unread_lines: int = 0
    noise_bytes: int = 0
    tried: list[int] = field(default_factory=list)


def sidecar_path(log: Path) -> Path:
    """Where the sidecar of the raw log at `log` lies."""
    return log.with_suffix(".capture.jsonl")


def read_sidecar(log: Path) -> Sidecar | None:
    """The sidecar beside the raw log at `log`, or None where there is none. Raises OSError."""
    path = sidecar_path(log)
    if not path.is_file():
        return None
    with path.open("rb") as file:
        read, more = parse_sidecar(file.read(MAX_BYTES)), file.read(1)
    return replace(read, unread_lines=read.unread_lines + 1) if more else read


def parse_sidecar(content: bytes) -> Sidecar:
    """The sidecar in `content`; what cannot be understood is counted and passed over."""
    reading = _Reading()
    for line in content.splitlines():
        try:
            _take(reading, json.loads(line))
        except (ValueError, TypeError, KeyError, OverflowError, RecursionError):
            reading.unread_lines += 1
    return Sidecar(
        reading.started,
        reading.source,
        reading.baud,
        tuple(reading.arrivals),
        tuple(reading.said),
        reading.lost_bytes,
        reading.unread_lines,
        reading.noise_bytes,
        tuple(rate for rate in reading.tried if rate != reading.baud),
    )


def _take(reading: _Reading, line: Any) -> None:
    if not isinstance(line, dict):
        raise TypeError("not an object")
    if "capture" in line:
        reading.started, reading.source = _text(line["started"], 40), _text(line["source"], 200)
        reading.baud = line["baud"] if _whole(line.get("baud")) and line["baud"] else None
        return
    at, byte = line["at"], line["byte"]
    if not _whole(byte) or not math.isfinite(at):
        raise ValueError("no place")
    if "player" in line:
        player = None if line["player"] is None else player_tag(str(line["player"]))
        reading.said.append(Said(byte, player, line.get("current") is True, at=float(at)))
    elif "remark" in line:
        reading.said.append(Said(byte, remark=_text(line["remark"], LONGEST_REMARK)))
    elif "lost" in line:
        if not _whole(line["lost"]):
            raise ValueError("no count")
        reading.lost_bytes += line["lost"]
    elif "baud" in line:
        _take_baud(reading, line["baud"], byte)
    elif "line" not in line and (not reading.arrivals or (at, byte) >= reading.arrivals[-1]):
        reading.arrivals.append((float(at), byte))


def _take_baud(reading: _Reading, baud: Any, byte: int) -> None:
    """The line was read at another rate from `byte` on."""
    if not _whole(baud) or not baud:
        raise ValueError("no rate")
    if reading.baud is not None and reading.baud not in reading.tried and len(reading.tried) < _MOST_RATES:
        reading.tried.append(reading.baud)
    reading.baud, reading.noise_bytes = baud, max(byte, reading.noise_bytes)


def _whole(number: Any) -> bool:
    """Whether it is a count of bytes, as a file may have them."""
    return type(number) is int and 0 <= number <= _MOST_COUNT


def _text(text: Any, longest: int) -> str:
    """The beginning of a text. JSON can write halves of characters, which nothing else can store."""
    return str(text)[:longest].encode("utf-8", "replace").decode()


def started_at(sidecar: Sidecar) -> datetime | None:
    """When the recording began by the PC's clock, in UTC without a zone; None where the sidecar does not say."""
    try:
        started = datetime.fromisoformat(sidecar.started or "")
        return (started.astimezone(UTC) if started.tzinfo else started).replace(tzinfo=None)
    except (ValueError, OverflowError):
        return None


def seconds_at(sidecar: Sidecar, offsets: Sequence[int]) -> list[float | None]:
    """At which second of the recording the packets at these offsets had begun to come; None where it does not say."""
    received = [byte for _, byte in sidecar.arrivals]
    # The last bytes may have come without a line that says so.
    return [
        sidecar.arrivals[min(bisect_right(received, offset), len(received) - 1)][0] if received else None
        for offset in offsets
    ]


def arrived_at(sidecar: Sidecar, offsets: Sequence[int]) -> list[datetime | None]:
    """When the packets at these offsets of the log had begun to come, as `started_at`; to about a tenth of a second."""
    started = started_at(sidecar)
    try:
        return [
            None if started is None else started + timedelta(seconds=after or 0.0)
            for after in seconds_at(sidecar, offsets)
        ]
    except OverflowError:
        return [None] * len(offsets)


def remarks_of_runs(said: Iterable[Said], start_bytes: Sequence[int]) -> list[tuple[str, ...]]:
    """The remarks on each run, the first MOST_REMARKS: those made from its beginning up to the next one's."""
    remarks: list[list[str]] = [[] for _ in start_bytes]
    for one in said:
        begun = bisect_left(start_bytes, one.byte)
        if one.remark is not None and begun and len(remarks[begun - 1]) < MOST_REMARKS:
            remarks[begun - 1].append(one.remark)
    return [tuple(some) for some in remarks]
