"""Traces of the console in what was logged: bouncing buttons and the noise of a slide pot."""

from dataclasses import dataclass

import numpy as np

from analysis.stats.laws import chi2_quantile

Array = np.ndarray

# Contacts of pushbuttons bounce for some milliseconds (Ganssle, A Guide to Debouncing: 1.6 ms on average and
# 6.2 ms at worst over 18 switches, figures from memory), while fingers tap at most some twelve times a
# second. Between the two, 30 ms: common practice, no source.
BOUNCE_US = 30_000
# Samples of a stretch at rest, and how many stretches it takes.
_LENGTH, _FEWEST = 8, 5


def bounces(press_us: Array, run: Array, lane: Array) -> Array:
    """Which presses come within BOUNCE_US of the one before on the same button, (n,) bool; any order of
    rows.
    """
    press_us, lane = np.asarray(press_us), np.nan_to_num(np.asarray(lane, dtype=float), nan=-1.0)
    order = np.lexsort((press_us, lane, run))
    same = (np.diff(lane[order]) == 0) & (np.asarray(run)[order][1:] == np.asarray(run)[order][:-1])
    found = np.zeros(press_us.size, bool)
    found[order[1:]] = same & (np.diff(press_us[order]) <= BOUNCE_US)
    return found


@dataclass(frozen=True)
class RestNoise:
    """`sd` of a sampled value while it is held still, from `windows` stretches at rest; None where there are
    too few.

    `flicker` is the share of neighbouring samples at rest that differ.
    """

    sd: float | None
    flicker: float | None
    windows: int


def rest_noise(value: Array, series: Array, span: float) -> RestNoise:
    """The noise of a value at rest: its standard deviation within stretches in which nobody moved it.

    value: (n,) samples in order; series: (n,) labels, rows of one series together; span: the whole range of
    travel. A stretch of eight samples is at rest where its two halves have nearly the same mean (within 1
    % of the span) and its range is below 5 % of the span: slow noise within that is what is measured, larger
    noise would be missed.
    """
    value = np.asarray(value, dtype=float)
    if value.size < _LENGTH or span <= 0:
        return RestNoise(None, None, 0)
    whole = value.size // _LENGTH * _LENGTH
    block, label = value[:whole].reshape(-1, _LENGTH), np.asarray(series)[:whole].reshape(-1, _LENGTH)
    half = _LENGTH // 2
    still = (
        (label[:, 0] == label[:, -1])
        & (np.abs(block[:, :half].mean(axis=1) - block[:, half:].mean(axis=1)) <= 0.01 * span)
        & (np.ptp(block, axis=1) <= 0.05 * span)
    )
    block = block[still]
    if block.shape[0] < _FEWEST:
        return RestNoise(None, None, int(block.shape[0]))
    # The median of the variances, because some stretches are slow movements; a sample variance's median lies
    # below its mean by the factor of the chi-squared distribution.
    lower = chi2_quantile(0.5, _LENGTH - 1) / (_LENGTH - 1)
    sd = float(np.sqrt(np.median(block.var(axis=1, ddof=1)) / lower))
    return RestNoise(sd, float(np.mean(np.diff(block, axis=1) != 0)), int(block.shape[0]))


def pixels_a_unit(value: Array, x: Array) -> float | None:
    """Pixels by which the position moves for one unit of the raw input; None where the two do not go
    together.

    Theil-Sen over pairs a quarter of the data apart (robust against samples that lag); a rank correlation
    below 0.8 counts as not going together.
    """
    known = np.isfinite(value) & np.isfinite(x)
    value, x = np.asarray(value, float)[known], np.asarray(x, float)[known]
    if value.size < 20 or np.ptp(value) == 0 or np.ptp(x) == 0:
        return None
    order = np.argsort(value, kind="stable")
    value, x = value[order], x[order]
    step = value.size // 2
    run, rise = value[step:] - value[:-step], x[step:] - x[:-step]
    if abs(np.corrcoef(np.argsort(np.argsort(value)), np.argsort(np.argsort(x)))[0, 1]) < 0.8:
        return None
    return float(abs(np.median(rise[run > 0] / run[run > 0]))) if np.any(run > 0) else None
