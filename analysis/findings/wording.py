"""Numbers and counts as the sentences of findings say them."""

from collections.abc import Iterable

import numpy as np

from analysis.counting import counted as counted
from analysis.stats.estimate import Estimate
from analysis.stats.learning import LogRateRatio


def percent(share: float | None) -> str:
    """A share as whole percent; near 0 and 100 with one digit more, so that 99.6 % is not called all, nor 99.97 %."""
    if share is None or not np.isfinite(share):
        return "an unknown share"
    share = round(share, 9)  # 1e-17 is none
    if 0 < share < 0.0005:
        return "under 0.1 %"
    if 0.9995 <= share < 1:
        return "over 99.9 %"
    if 0 < share < 0.01 or 0.99 < share < 1:
        return f"{100 * share:.1f} %"
    return f"{100 * share:.0f} %"


def figure(value: float | None, unit: str = "") -> str:
    """A number with three significant digits, without an exponent where it has a common size."""
    if value is None or not np.isfinite(value):
        return "unknown"
    size = abs(value)
    if float(value).is_integer() and size < 1e6:
        return f"{value:.0f} {unit}".strip()
    text = (
        f"{value:.0f}"
        if size >= 100
        else f"{value:.1f}"
        if size >= 10
        else f"{value:.2f}"
        if size >= 0.1
        else f"{value:.2g}"
    )
    return f"{text} {unit}".strip()


def between(estimate: Estimate) -> str:
    """The interval in words, in brackets; says so where there is none."""
    if estimate.low is None and estimate.high is None:
        return "(no interval: the runs are too few or all of one player)"
    unit, level = estimate.unit, f"{100 * estimate.level:.0f} % interval"
    if unit == "share":
        low, high = percent(estimate.low or 0.0), percent(1.0 if estimate.high is None else estimate.high)
        return f"({level} {low.removesuffix(' %')} to {high})"
    low = "0" if estimate.low is None else figure(estimate.low)
    high = "no upper limit" if estimate.high is None else figure(estimate.high, unit)
    return f"({level} {low} to {high})"


def against_rest(found: LogRateRatio | None, here: str, elsewhere: str, parts: str) -> str:
    """How a rate that was picked for being the highest compares with the same players' elsewhere, to follow a sentence.

    found: of `part_against_rest`; parts: how many were looked at, in words.
    """
    if found is None:
        return f"; {elsewhere} the same players hardly died or never were, so the two cannot be compared"
    ratio = found.ratio
    low = ratio.low
    interval = between(ratio) if low is None else f"{between(ratio)[:-1]}, corrected for {parts})"
    chance = "" if low is not None and low > 1 else ", which may be chance"
    return f"; {here} the same players die {figure(ratio.value)} times as often as {elsewhere} {interval}{chance}"


def finite(value: float | None) -> float | None:
    """None for NaN and infinity, else the number as a plain float."""
    return None if value is None or not np.isfinite(value) else float(value)


def cause_name(labels: Iterable[object], cause: float) -> str:
    """What a cause of death is called: the first label that was logged for it, or its number."""
    return next((str(text) for text in labels if text is not None), f"cause {cause:.0f}")


def stage_name(stage: float, kind: float) -> str:
    """`stage 2`, `stage 2 boss`."""
    return f"stage {stage:.0f}{' boss' if kind == 1 else ''}"
