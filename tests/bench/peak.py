"""The most memory that this program has held."""

import math
import sys
from pathlib import Path


def peak_mb() -> float:
    """In MiB; not a number on Windows, whose Python has no such count.

    Linux tells it of the program alone; elsewhere, or by getrusage, what the parent held when it forked counts too.
    """
    status = Path("/proc/self/status")
    if status.exists():
        told = next(line for line in status.read_text(encoding="ascii").splitlines() if line.startswith("VmHWM:"))
        return int(told.split()[1]) / 1024
    if sys.platform == "win32":
        return math.nan
    import resource

    # In bytes on macOS, in KiB elsewhere (getrusage in the systems' manuals).
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1 << 20 if sys.platform == "darwin" else 1 << 10)
