"""Programs that Ctrl+C ends, also where whoever started the tests has it ignored, as scripts in the background have."""

import sys

_DISPOSED = "import os, signal, sys; signal.signal(signal.SIGINT, signal.SIG_DFL); os.execv(sys.argv[1], sys.argv[1:])"


def interruptible(command: list[str]) -> list[str]:
    """The words that start `command` with the disposition of a program in a terminal: what is ignored is inherited."""
    return [sys.executable, "-c", _DISPOSED, *command]
