"""How fast the by-player interval is against a bootstrap over players with lifelines, and Kaplan-Meier against scipy.

    python -m tests.bench.analysis.speed

Both sides run in turn in one process; only the ratios mean something.
"""

import sys
import time
from collections.abc import Callable

import numpy as np
from scipy import stats

from analysis.stats.lifetimes.clustered import survival_by_player
from analysis.stats.lifetimes.survival import kaplan_meier

RESAMPLES = 200  # few for a percentile interval: the bootstrap is given the benefit


def playtest(players: int, runs: int, seed: int = 1) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(duration, died, player) with a third censored."""
    rng = np.random.default_rng(seed)
    player = np.repeat(np.arange(players), runs)
    time_ = rng.exponential(size=player.size) / rng.gamma(3.0, 1 / 3, players)[player]
    cut = rng.exponential(2.0, player.size)
    return np.minimum(time_, cut).round(4) + 1e-4, time_ <= cut, player


def lifelines_bootstrap(duration: np.ndarray, died: np.ndarray, player: np.ndarray, resamples: int) -> np.ndarray:
    """Limits of S on a grid of times: players drawn with replacement, lifelines fitted to the runs of those drawn."""
    from lifelines import KaplanMeierFitter

    rng = np.random.default_rng(0)
    grid = np.quantile(duration, np.linspace(0.05, 0.95, 50))
    names = np.unique(player)
    rows = {name: np.flatnonzero(player == name) for name in names} if names.size < 1000 else None
    first = np.searchsorted(player, names)
    size = np.diff(np.r_[first, player.size])
    curves = np.empty((resamples, grid.size))
    for b in range(resamples):
        drawn = rng.integers(0, names.size, names.size)
        if rows is not None:
            chosen = np.concatenate([rows[names[d]] for d in drawn])
        else:
            chosen = np.repeat(first[drawn], size[drawn]) + np.concatenate([np.arange(s) for s in size[drawn]])
        fitted = KaplanMeierFitter().fit(duration[chosen], died[chosen])
        curves[b] = fitted.survival_function_at_times(grid).to_numpy()
    return np.quantile(curves, [0.025, 0.975], axis=0)


def scipy_kaplan_meier(duration: np.ndarray, died: np.ndarray) -> object:
    return stats.ecdf(stats.CensoredData(uncensored=duration[died], right=duration[~died])).sf


def seconds(work: Callable[[], object], repeats: int) -> float:
    """The best processor time of several goes: other processes do not count."""
    best = np.inf
    for _ in range(repeats):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best


def by_player_ratio(players: int, runs: int, resamples: int = RESAMPLES, bootstrap_runs: int = 0) -> float:
    """Time of the bootstrap over that of the by-player interval; `bootstrap_runs` resamples are timed and scaled up."""
    data = playtest(players, runs)
    timed = bootstrap_runs or resamples
    lifelines_bootstrap(*playtest(4, 2), 1)  # its import is not part of the comparison
    slow = seconds(lambda: lifelines_bootstrap(*data, timed), 1) * resamples / timed
    return slow / seconds(lambda: survival_by_player(*data), 5)


def kaplan_meier_ratio(runs: int) -> float:
    """Time of ours over scipy's."""
    duration, died, _ = playtest(runs // 10, 10)
    return seconds(lambda: kaplan_meier(duration, died), 7) / seconds(lambda: scipy_kaplan_meier(duration, died), 7)


def main() -> int:
    print(f"by-player interval against a lifelines bootstrap of {RESAMPLES} resamples (times as fast):")
    for players, runs in ((12, 4), (24, 5), (2000, 50)):
        print(f"  {players} players x {runs} runs: {by_player_ratio(players, runs, bootstrap_runs=10):.0f}", flush=True)
    print("Kaplan-Meier, our time over scipy's:")
    for runs in (100, 10_000, 100_000):
        print(f"  {runs} runs: {kaplan_meier_ratio(runs):.2f}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
