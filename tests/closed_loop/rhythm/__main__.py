"""The full closed loop, by hand: `python -m tests.closed_loop.rhythm [worlds] [players] [outside 0|1] [first seed]`."""

import sys

import numpy as np

from tests.closed_loop.rhythm.loop import MEDIAN, QUARTER, playtest, turn
from tests.closed_loop.rhythm.world import draw_world


def main(worlds: int = 100, players: int = 12, outside: int = 1, first: int = 1000) -> None:
    """Prints one line a world and the table of analysis/TIMING.md."""
    rows = []
    for seed in range(first, first + worlds):
        rng = np.random.default_rng(seed)
        world = draw_world(rng, bool(outside))
        log = playtest(world, players, rng)
        one = turn(world, log, (MEDIAN,), 400, seed + 1)
        reached, low, high = float(one.reached[0]), float(one.low80[0]), float(one.high80[0])
        rows.append(
            (
                abs(reached - 0.85),
                abs(float(one.was[0]) - 0.85),
                low <= reached <= high,
                float(one.low95[0]) <= reached <= float(one.high95[0]),
                high - low,
                reached - 0.85,
                one.proposal.chance_better,
                float(one.was[0]),
            )
        )
        print(
            f"{seed} was {one.was[0]:.3f} reached {reached:.3f} said {low:.3f}..{high:.3f} {one.setting}"
            f" {one.proposal.advice} {one.proposal.id}",
            flush=True,
        )
    table = np.array(rows, float)
    miss, was, in80, in95, width, signed = table[:, :6].T
    print(
        f"worlds {worlds} players {players} outside logged {bool(outside)}: miss {100 * miss.mean():.2f}"
        f" (se {100 * miss.std() / np.sqrt(worlds):.2f}), left as is {100 * was.mean():.1f},"
        f" bias {100 * signed.mean():+.2f}, 80 % covers {100 * in80.mean():.0f}, 95 % covers {100 * in95.mean():.0f},"
        f" 80 % width {100 * width.mean():.1f}"
    )


def both(worlds: int = 40, players: int = 12) -> None:
    """Two targets at once: the median about 85 %, the lower quarter at least 70 %."""
    misses = []
    for seed in range(5000, 5000 + worlds):
        rng = np.random.default_rng(seed)
        world = draw_world(rng)
        one = turn(world, playtest(world, players, rng), (MEDIAN, QUARTER), 400, seed + 1)
        misses.append([float(t.miss(r)) for t, r in zip((MEDIAN, QUARTER), one.reached, strict=True)])
    print("mean miss of median and lower quarter:", (100 * np.mean(misses, axis=0)).round(2))


if __name__ == "__main__":
    if sys.argv[1:2] == ["both"]:
        both(*map(int, sys.argv[2:]))
    else:
        main(*map(int, sys.argv[1:]))
