"""What a test needs from the machine: the one place where a test may be skipped."""

import os

import pytest


def need(condition: object, reason: str) -> None:
    """Skips the test unless `condition` holds; fails it where skips are forbidden (SETSCREW_NO_SKIPS=1).

    `reason` says what is missing and how to get it, e.g. "arm-none-eabi-gcc is not installed".
    """
    if condition:
        return
    if os.environ.get("SETSCREW_NO_SKIPS") == "1":
        pytest.fail(f"needed here, but {reason}", pytrace=False)
    pytest.skip(reason)
