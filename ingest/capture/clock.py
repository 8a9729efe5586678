"""The console's clock against the PC's: how much faster or slower it runs, where arrival times were recorded."""

import numpy as np

# Shorter recordings say nothing: a packet may be up to half a second on its way, a quartz is off by tens of millionths.
_LEAST_S = 60.0
_WINDOWS = 20
_MOST_SLOPE = 0.1


def drift_ppm(arrival_s: np.ndarray, arrived_bytes: np.ndarray, offset: np.ndarray, tick_s: np.ndarray) -> float | None:
    """Millionths by which the console's clock runs fast (positive) or slow against the PC's; None if it cannot be told.

    `arrived_bytes` bytes had come after `arrival_s` seconds (both ascending). The packet at `offset` in the log bears
    the console's time `tick_s`. A packet arrives late by how long it was collected and queued, never early: of each of
    20 windows only the least late counts, and the drift is the median of the slopes between all pairs of windows
    (Theil 1950, Indagationes Mathematicae 12; Sen 1968, JASA 63:1379-1389), which a window of bad luck does not move.
    """
    if len(offset) < 2 or len(arrival_s) < 2:
        return None
    # A packet is there when the byte after its first has come; the line that says so is the next one.
    line = np.searchsorted(arrived_bytes, offset, side="right")
    there = line < len(arrival_s)
    tick_s, late = tick_s[there], arrival_s[line[there]] - tick_s[there]
    if len(tick_s) < 2 or tick_s[-1] - tick_s[0] < _LEAST_S:
        return None
    window = np.minimum((tick_s - tick_s[0]) * (_WINDOWS / (tick_s[-1] - tick_s[0])), _WINDOWS - 1).astype(int)
    least = [np.flatnonzero(window == number) for number in np.unique(window)]
    best = np.array([which[np.argmin(late[which])] for which in least])
    if len(best) < 5:
        return None
    one, other = np.triu_indices(len(best), 1)
    slopes = (late[best][other] - late[best][one]) / (tick_s[best][other] - tick_s[best][one])
    slope = float(np.median(slopes))
    # No oscillator is off by a tenth: such a log was sent faster or slower than it was played.
    if abs(slope) > _MOST_SLOPE:
        return None
    # Lateness grows by `slope` in each second of the console: that second takes 1 + slope of the PC's.
    return 1e6 * (1 / (1 + slope) - 1)
