"""The standard streams of a command, where nobody listens any more or never did: `setscrew plan | head`.

A closed pipe is no error: what is printed goes nowhere from then on, and the command does the rest of its work.
"""

import errno
import io
import os
import sys
from typing import Any

# A pipe whose reader has gone; Windows says EINVAL.
_GONE = {errno.EPIPE, errno.EINVAL} if os.name == "nt" else {errno.EPIPE}
# What is written to a console of Windows must go through Python's own stream, which alone can print every character
# there (PEP 528): the same bytes by its number would be read in the console's code page. Nobody closes it like a pipe.
_CONSOLE_IS_NO_FILE = os.name == "nt"


class _Unheard(io.FileIO):
    """A file to write to, which takes everything, also what cannot be written: `trouble` then says why it could not."""

    trouble: str | None = None

    def write(self, data: Any) -> int:
        try:
            return super().write(data)
        except OSError as error:
            if error.errno not in _GONE:
                self.trouble = error.strerror or str(error)
            return memoryview(data).nbytes


def prepare() -> None:
    """Makes the three streams usable, whatever the command was started with. To be called before anything else.

    A number below three that is free would go to the next file that is opened, and what is printed into that file.
    """
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest free number
    if sys.stdin is None:
        sys.stdin = open(os.devnull, encoding="utf-8")  # noqa: SIM115 - until the process ends
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
        elif _CONSOLE_IS_NO_FILE and stream.isatty():
            continue
        elif stream is getattr(sys, f"__{name}__"):  # and not what a test or an embedding program put there
            setattr(sys, name, _unheard(stream))


def unwritten() -> str | None:
    """Writes what waits still, and says why not all could be written, such as a full disk; else None."""
    sys.stdout.flush()
    raw = getattr(getattr(sys.stdout, "buffer", None), "raw", None)
    return raw.trouble if isinstance(raw, _Unheard) else None


def _unheard(stream: Any) -> io.TextIOWrapper:
    return io.TextIOWrapper(
        io.BufferedWriter(_Unheard(stream.fileno(), "w", closefd=False)),
        encoding=stream.encoding,
        errors=stream.errors,
        line_buffering=stream.line_buffering,
        write_through=stream.write_through,
    )
