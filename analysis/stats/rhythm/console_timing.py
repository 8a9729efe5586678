"""What the console adds to the players' timing: the period of its polling, and a latency that is its own."""

from dataclasses import dataclass

import numpy as np

from analysis.stats.estimate import Estimate, margin_by_player, margin_of_difference
from analysis.stats.laws import kruskal_wallis
from analysis.stats.players.within_player import level_effects

Array = np.ndarray
# Polling periods looked for. Below, a press waits too little to matter; above, nobody could play.
_PERIODS_US = np.arange(2_000.0, 50_000.0, 20.0)
# Mean resultant length of press distances on the circle of one period: 1 for exact multiples. Rounding to ms ticks
# costs 6 % at 5 ms; presses of free hands reach 0.2 with 200 distances once in three thousand periods tried.
_PERIODIC = 0.8
_FEWEST = 60


def polling_period_us(press_us: Array, run: Array) -> float | None:
    """The longest period of which the distances between presses of a run are whole multiples, or None.

    press_us: (n,) times in the order of runs; distances up to 2 s are used, so that a slightly wrong period does not
    lose its phase. Rayleigh's statistic (Mardia & Jupp 2000, Directional Statistics, section 6.3.1) over a grid.
    """
    order = np.lexsort((press_us, run))
    at, of = np.asarray(press_us, float)[order], np.asarray(run)[order]
    distance = np.diff(at)[np.diff(of) == 0]
    distance = distance[(distance > 0) & (distance < 2e6)][:2000]
    if len(distance) < _FEWEST:
        return None
    strength = np.empty(len(_PERIODS_US))
    for i in range(0, len(_PERIODS_US), 200):
        turns = distance / _PERIODS_US[i : i + 200, None]
        strength[i : i + 200] = np.abs(np.exp(2j * np.pi * turns).mean(axis=1))
    strong = np.flatnonzero(strength > _PERIODIC)
    if not len(strong):
        return None
    # The longest one is the period itself; the halves and thirds of it fit as well. Take the top of its peak.
    peak = strong[strong >= strong[-1] - 0.02 * strong[-1] - 5]
    return float(_PERIODS_US[peak[np.argmax(strength[peak])]])


def lost_to_polling(judged_us: Array, early_us: Array, late_us: Array, poll_us: Array | float) -> tuple[float, float]:
    """(share of notes missed, share hit) only because the press was seen up to one polling period after it happened.

    A press is seen between 0 and `poll_us` late, evenly: one judged d beyond the late edge was within it with
    chance 1 - d / poll, one judged d inside the early edge was too early with chance 1 - d / poll.
    """
    with np.errstate(invalid="ignore"):
        beyond = judged_us - late_us
        inside = judged_us + early_us
        lost = np.where((beyond > 0) & (beyond < poll_us), 1 - beyond / poll_us, 0.0)
        gained = np.where((inside >= 0) & (inside < poll_us) & (beyond <= 0), 1 - inside / poll_us, 0.0)
    return float(np.mean(lost)), float(np.mean(gained))


@dataclass(frozen=True)
class LatencyComparison:
    """Bias by capture (one console's log). `how`: "within" where players tried several, "between", or "" where the
    captures cannot be compared; difference: largest less smallest, in us; p: that all are alike."""

    bias_us: Array
    players: Array
    how: str
    difference: Estimate
    p: float | None
    highest: int
    lowest: int


def compare_captures(bias_us: Array, player: Array, capture: Array, captures: int) -> LatencyComparison:
    """Compares captures by the biases of their players; one row a player and capture.

    Within players where at least three tried two captures, else between players where two captures hold at least
    three players each (Welch 1947, Biometrika 34:28-35, the two extremes; p by Kruskal & Wallis 1952).
    """
    known = ~np.isnan(bias_us)
    bias_us, player, capture = bias_us[known], player[known], capture[known]
    count = np.bincount(capture, minlength=captures)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.bincount(capture, bias_us, captures) / count
    nothing = LatencyComparison(mean, count, "", Estimate(None), None, 0, 0)
    several = (
        np.bincount(np.unique(player, return_inverse=True)[1].reshape(-1)) > 1 if len(player) else np.zeros(0, bool)
    )
    if several.sum() >= 3:
        effects = level_effects(bias_us, capture, player, captures)
        high, low = int(np.nanargmax(effects.effect)), int(np.nanargmin(effects.effect))
        pair = np.isin(capture, [high, low])
        values = {
            c: dict(zip(player[pair & (capture == c)], bias_us[pair & (capture == c)], strict=True))
            for c in (high, low)
        }
        both = sorted(set(values[high]) & set(values[low]))
        if high != low and len(both) >= 3:
            apart = np.array([values[high][p] - values[low][p] for p in both])
            margin = margin_by_player(apart.std(ddof=1) / np.sqrt(len(both)), len(both))
            p_value = float(np.nanmin(effects.p)) if np.isfinite(effects.p).any() else 1.0
            difference = Estimate.around(apart.mean(), margin, players=len(both))
            return LatencyComparison(mean, count, "within", difference, p_value, high, low)
    enough = np.flatnonzero(count >= 3)
    if len(enough) < 2:
        return nothing
    high, low = int(enough[np.argmax(mean[enough])]), int(enough[np.argmin(mean[enough])])
    groups = [bias_us[capture == c] for c in enough]
    a, b = bias_us[capture == high], bias_us[capture == low]
    margin = margin_of_difference(a, b)
    p_value = kruskal_wallis(groups) if len(np.unique(bias_us)) > 1 else 1.0
    return LatencyComparison(
        mean,
        count,
        "between",
        Estimate.around(float(a.mean() - b.mean()), margin, players=len(a) + len(b)),
        p_value,
        high,
        low,
    )
