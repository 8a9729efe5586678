"""A play log as a file: read piece by piece, recognised by its bytes."""

import errno
import hashlib
import stat
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO

import duckdb

from ingest.capture.sidecar import Sidecar, started_at

CHUNK_BYTES = 700_000
KEY_BYTES = 4096


def shown(path: str | Path) -> str:
    """`path` as text that can be printed and kept: what cannot be (bytes that are no UTF-8, control characters) is
    written as \\xNN, \\uNNNN or the like."""
    return "".join(letter if letter.isprintable() else letter.encode("unicode_escape").decode() for letter in str(path))


def log_size(path: Path) -> int:
    """Bytes of the file at `path`. Raises OSError, also where it is no file of bytes: reading a pipe would wait for
    somebody to write into it, and a device need not end."""
    found = path.stat()
    if stat.S_ISDIR(found.st_mode):
        raise IsADirectoryError(errno.EISDIR, "it is a folder", str(path))
    if not stat.S_ISREG(found.st_mode):
        raise OSError(errno.EINVAL, "it is a pipe or a device; copy its bytes into a file", str(path))
    return found.st_size


def chunks(log: BinaryIO, size: int) -> Iterator[bytes]:
    """The next `size` bytes, or those that there are, some hundred thousand at a time."""
    while size > 0:
        chunk = log.read(min(size, CHUNK_BYTES))
        if not chunk:
            return
        size -= len(chunk)
        yield chunk


def recognise(cursor: duckdb.DuckDBPyConnection, path: Path, size: int) -> tuple[str, str, tuple[int, int] | None]:
    """The file's key and SHA-256, and the capture (id, bytes) that holds its bytes or their beginning."""
    by_length: dict[int, dict[str, int]] = {}
    for capture_id, sha256, length in cursor.execute(
        "SELECT capture_id, sha256, bytes FROM captures WHERE bytes <= ?", [size]
    ).fetchall():
        by_length.setdefault(length, {})[sha256] = capture_id
    digest = hashlib.sha256()
    key = ""
    grown = None
    done = 0
    with path.open("rb") as log:
        for stop in sorted({min(KEY_BYTES, size), size, *by_length}):
            for chunk in chunks(log, stop - done):
                digest.update(chunk)
                done += len(chunk)
            known = by_length.get(stop, {}).get(digest.hexdigest())
            # Nothing is the beginning of everything: an empty file only matches an empty one.
            if known is not None and (stop > 0 or size == 0):
                grown = (known, stop)
            if stop == min(KEY_BYTES, size):
                key = digest.hexdigest()
    return key, digest.hexdigest(), grown


def received(path: Path, sidecar: Sidecar | None) -> datetime:
    """When the recording began, in UTC; without a sidecar, when the file was last written."""
    started = None if sidecar is None else started_at(sidecar)
    return started or datetime.fromtimestamp(path.stat().st_mtime, UTC).replace(tzinfo=None)
