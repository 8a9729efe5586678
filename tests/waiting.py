"""Waiting for what comes about in another thread or process, for as long as a busy machine may need."""

import os
import time
from collections.abc import Callable

# What hangs ends by the time limit of each test; a machine that does much else may be slow.
PATIENCE_S = float(os.environ.get("SETSCREW_TEST_PATIENCE_MS", "60000")) / 1000


def until(condition: Callable[[], object], seconds: float = PATIENCE_S) -> None:
    """Returns as soon as `condition` holds; fails where it does not come about."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "it did not come about in time"
        time.sleep(0.01)
