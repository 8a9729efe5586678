"""How fast matching is, side by side with mir_eval on the same notes: `python -m tests.bench.timing`."""

import time

import numpy as np
from mir_eval.util import match_events

from analysis.stats.rhythm.matching import match_presses


def playing(notes: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Notes in four lanes, one press in twenty missing, one in twenty too many; times in us."""
    due = np.cumsum(rng.choice([150_000, 300_000, 600_000], notes))
    lane = rng.integers(0, 4, notes)
    pressed = rng.random(notes) > 0.05
    press = due[pressed] + rng.normal(-20_000, 40_000, int(pressed.sum())).astype(int)
    extra = rng.integers(0, due[-1], notes // 20)
    return due, lane, np.r_[press, extra], np.r_[lane[pressed], rng.integers(0, 4, len(extra))]


def seconds(run) -> float:  # type: ignore[no-untyped-def]
    best = np.inf
    for _ in range(3):
        start = time.process_time()
        run()
        best = min(best, time.process_time() - start)
    return float(best)


def main() -> None:
    rng = np.random.default_rng(0)
    small = playing(3_000, rng)
    ours = seconds(lambda: match_presses(small[0], small[2], 50_000))
    theirs = seconds(lambda: match_events(small[0] / 1e6, np.sort(small[2]) / 1e6, 0.05))
    print(f"3,000 notes, one lane, 50 ms: mir_eval / ours = {theirs / ours:.1f}")
    for gap in (150_000, 300_000):
        due, lane, press, press_lane = playing(1_000_000, rng)
        lanes = seconds(lambda d=due, p=press, g=gap, a=lane, b=press_lane: match_presses(d, p, g, a, b))
        one = seconds(lambda d=due, p=press, g=gap: match_presses(d, p, g))
        print(f"1,000,000 notes, reach {gap // 1000} ms: four lanes {lanes:.1f} s, one lane {one:.1f} s")


if __name__ == "__main__":
    main()
