"""Series of successes until the first miss, and how long something has been missing from a random series."""

from dataclasses import dataclass

import numpy as np

Array = np.ndarray


@dataclass(frozen=True)
class Streaks:
    """One row a streak: `shots` up to and with the miss that ended it; `missed` False where the run ended
    first.
    """

    shots: Array
    missed: Array
    run: Array


def streaks(success: Array, run: Array) -> Streaks:
    """The streaks of trials in order: each begins at a run's start or after a miss and ends with the next
    miss.

    success: (n,) bool; run: (n,) labels, rows of one run together. A streak of no trials (a miss was a run's last
    trial) is not counted.
    """
    success, run = np.asarray(success, dtype=bool), np.asarray(run)
    if not success.size:
        return Streaks(np.zeros(0), np.zeros(0, bool), run[:0])
    run_ends = np.r_[run[1:] != run[:-1], True]
    ends = np.flatnonzero(~success | run_ends)
    starts = np.r_[0, ends[:-1] + 1]
    return Streaks((ends - starts + 1).astype(float), ~success[ends], run[ends])


def longest_wait(present: Array, run: Array) -> int:
    """The most rows in a row, within one run, in which something did not come; present: (n,) bool."""
    longest = current = 0
    previous = None
    for here, label in zip(np.asarray(present, bool).tolist(), np.asarray(run).tolist(), strict=True):
        current = 0 if here or label != previous else current
        if not here:
            current += 1
        longest, previous = max(longest, current), label
    return longest


def wait_chance(length: int, share: float, draws: Array | int) -> float:
    """The chance that, in series of independent draws, something with chance `share` each stays away `length`
    or more draws in a row of one series at least once: 1 - exp(-expected number of such waits).

    draws: (series,) how many draws each has; a shorter one than `length` can hold none. Aldous 1989, Probability
    Approximations via the Poisson Clumping Heuristic, section B.
    """
    if length <= 0 or share >= 1:
        return 1.0
    room = np.asarray(draws) - length
    starts = float(np.sum(1 + room[room >= 0] * share))
    return float(-np.expm1(-starts * (1 - share) ** length))
