"""A file that only grows: what the disk refuses waits in memory, and what was written is never touched."""

import contextlib
import os
from collections.abc import Callable
from pathlib import Path

Writer = Callable[[int, bytes], int]


class Appender:
    """Appends to a new file at once; what is refused waits in memory, in order, up to `limit` bytes.

    Raises OSError only where the file cannot be made.
    """

    def __init__(self, path: Path, limit: int, write: Writer = os.write):
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0)
        self._descriptor = os.open(path, flags, 0o644)
        self._write = write
        self._limit = limit
        self._waiting = bytearray()
        self.refusal: str | None = None

    @property
    def waiting_bytes(self) -> int:
        return len(self._waiting)

    def append(self, data: bytes) -> bool:
        """Writes `data` behind all that waits; False when there is no room even in memory: then
        all of it is left out."""
        if len(self._waiting) + len(data) > self._limit and not self.retry():
            return False
        self._waiting += data
        self.retry()
        return True

    def retry(self) -> bool:
        """Tries again what waits; True when nothing waits any more."""
        try:
            while self._waiting:
                written = self._write(self._descriptor, bytes(self._waiting[: 1 << 16]))
                del self._waiting[:written]
            self.refusal = None
        except OSError as error:
            self.refusal = error.strerror or str(error)
        return not self._waiting

    def close(self) -> None:
        """Closes the file; what still waits is gone."""
        with contextlib.suppress(OSError):
            os.fsync(self._descriptor)
        os.close(self._descriptor)
