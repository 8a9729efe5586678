"""How long something lasts when some of it was cut short: the product-limit estimate and what is read off it.

The axis is whatever was counted: seconds alive, shots, attempts.
"""

from dataclasses import dataclass

import numpy as np

Array = np.ndarray


@dataclass(frozen=True)
class KaplanMeier:
    """One step a distinct time at which somebody died. `greenwood` is the variance of log S by Greenwood's
    formula.

    `runs` counts all durations, `last` is the longest one, died or censored: beyond it nothing is known.
    """

    time: Array
    at_risk: Array
    deaths: Array
    surviving: Array
    greenwood: Array
    runs: int
    last: float

    def at(self, time: Array | float) -> Array:
        """S at given times; NaN beyond the last duration unless the curve has come down to 0."""
        return step_value(self.time, self.surviving, self.last, time)


def kaplan_meier(duration: Array, died: Array) -> KaplanMeier:
    """The product-limit estimate of the share surviving beyond each time.

    duration: (n,) non-negative; died: (n,) bool, False where the duration was cut short (censored). A
    censored duration equal to a death's counts as still at risk at it. Raises ValueError for unequal lengths
    or a negative or missing duration. Kaplan & Meier 1958, J. Am. Stat. Assoc. 53:457-481.
    """
    duration, died = checked(duration, died)
    order = np.argsort(duration, kind="stable")
    sorted_time, sorted_died = duration[order], died[order]
    starts = np.flatnonzero(np.r_[True, sorted_time[1:] != sorted_time[:-1]]) if duration.size else np.zeros(0, int)
    deaths = np.add.reduceat(sorted_died.astype(np.int64), starts) if duration.size else np.zeros(0, np.int64)
    happened = deaths > 0
    at_risk = (duration.size - starts)[happened]
    deaths, time = deaths[happened], sorted_time[starts[happened]]
    surviving = np.cumprod(1.0 - deaths / at_risk)
    with np.errstate(divide="ignore"):
        greenwood = np.cumsum(deaths / (at_risk * (at_risk - deaths).astype(float)))
    last = float(sorted_time[-1]) if duration.size else 0.0
    return KaplanMeier(time, at_risk, deaths, surviving, greenwood, int(duration.size), last)


def log_log_limits(surviving: Array, log_variance: Array, critical: Array | float) -> tuple[Array, Array]:
    """Limits of S from the variance of log S and a critical value, on the scale ln(-ln S); NaN where S is 0
    or 1.
    """
    inside = (surviving > 0) & (surviving < 1)
    s = np.where(inside, surviving, 0.5)
    margin = critical * np.sqrt(np.where(inside, log_variance, 0.0)) / -np.log(s)
    low = np.where(inside, s ** np.exp(margin), np.nan)
    high = np.where(inside, s ** np.exp(-margin), np.nan)
    return low, high


def step_value(time: Array, value: Array, last: float, at: Array | float) -> Array:
    """The value at `at` of a curve that starts at 1 and steps at `time`; NaN after `last` unless it reached 0.

    time, value: (steps,); the result has the shape of `at`.
    """
    at = np.asarray(at, dtype=float)
    found = np.r_[1.0, value][np.searchsorted(time, at, side="right")]
    return np.where((at > last) & (found > 0), np.nan, found)


def quantile(time: Array, surviving: Array, share_dead: float = 0.5) -> float | None:
    """The first time at which at most 1 - share_dead survive, or None where the curve stays above.

    A limit of the curve instead of `surviving` gives the limit of the quantile: Brookmeyer & Crowley 1982,
    Biometrics 38:29-41.
    """
    # 1e-12: products such as 0.8 * 0.625 must count as one half.
    reached = np.flatnonzero(surviving <= 1.0 - share_dead + 1e-12)
    return float(time[reached[0]]) if reached.size else None


def restricted_mean(time: Array, surviving: Array, horizon: float) -> float:
    """The mean duration when every duration is cut at `horizon`: the area under the curve up to there.

    time, surviving: (steps,) of the curve; horizon and the mean in the unit of `time`. Royston & Parmar 2013, BMC
    Medical Research Methodology 13:152.
    """
    inside = time < horizon
    edges = np.r_[0.0, time[inside], horizon]
    return float(np.sum(np.diff(edges) * np.r_[1.0, surviving[inside]]))


def checked(duration: Array, died: Array) -> tuple[Array, Array]:
    """The two columns as float and bool arrays of one length, or a ValueError that says what is wrong."""
    duration, died = np.asarray(duration, dtype=float), np.asarray(died)
    if duration.ndim != 1 or duration.shape != died.shape:
        raise ValueError(f"durations {duration.shape} and deaths {died.shape} must be two columns of one length")
    if not np.all(duration >= 0) or np.any(np.isinf(duration)):
        raise ValueError("a duration is missing, infinite or negative: leave such rows out")
    return duration, died.astype(bool)
