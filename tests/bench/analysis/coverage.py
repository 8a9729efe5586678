"""How often 95 % intervals hold the truth, and how often builds that do not differ are called different.

    python -m tests.bench.analysis.coverage [SIMULATIONS]     prints the tables of analysis/METHODS.md

Players differ by a log-normal factor on their hazard (on the odds, for shares). They play equally often, unevenly, or
the weak stop sooner. The truth is that of the named estimand: of the runs (lives, notes, minutes) that such players
play, so with the weak stopping sooner each player counts by the runs to be expected. It is known by quadrature. The
estimators are called as the findings call them.
"""

import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy import optimize, special

from analysis.stats.lifetimes.clustered import restricted_mean_by_player, survival_by_player
from analysis.stats.lifetimes.compare import Comparison, compare_builds
from analysis.stats.lifetimes.competing import cumulative_incidence
from analysis.stats.proportions import share_by_player
from analysis.stats.rates import rate_by_player

Array = np.ndarray
NOTES = 30
PLAYERS, LOG_SD = (8, 12, 20), (0.3, 0.6, 1.0)
_NODE, _WEIGHT = np.polynomial.hermite_e.hermegauss(60)
_WEIGHT = _WEIGHT / _WEIGHT.sum()
_MOST_RUNS = 15


@dataclass(frozen=True)
class World:
    """Who plays how often, and how much players differ.

    play: "equal", 4 runs each; "uneven", one player with 15, a third with one, the others 2 to 6; "quitting", the weak
    stop sooner: after each run with a chance of a quarter times their hazard's factor. given_up: the hazard of giving
    up a life that has begun, in units of the mean hazard of dying; who dies sooner gives up sooner, too, so that what
    cuts a life short tells of the player.
    """

    play: str
    log_sd: float
    given_up: float = 0.0

    def runs(self, weak: Array, rng: np.random.Generator) -> Array:
        """(players,) runs of players whose log factors, in standard deviations, are `weak`."""
        if self.play == "equal":
            return np.full(weak.size, 4)
        if self.play == "uneven":
            runs = np.resize([2, 3, 4, 5, 6], weak.size)
            runs[: weak.size // 3], runs[-1] = 1, _MOST_RUNS
            return runs
        return np.minimum(rng.geometric(self._stops(weak)), _MOST_RUNS)

    def factor(self, weak: Array) -> Array:
        return np.exp(self.log_sd * weak - self.log_sd**2 / 2)

    def _stops(self, weak: Array) -> Array:
        return np.minimum(0.25 * self.factor(weak), 0.9)

    def mean(self, of: Callable[[Array], Array]) -> float:
        """The mean over runs of what is `of` (nodes,) for players with these log factors."""
        stops = self._stops(_NODE)
        often = (1 - (1 - stops) ** _MOST_RUNS) / stops if self.play == "quitting" else 1.0
        return float(np.sum(_WEIGHT * often * of(_NODE)) / np.sum(_WEIGHT * often))


@cache
def hazard(world: World, surviving: float) -> float:
    """The hazard of a player of factor 1, with which the share `surviving` of the lives outlasts time 1."""
    factor = world.factor(_NODE)

    def apart(log: float) -> float:
        return world.mean(lambda _: np.exp(-np.exp(log) * factor)) - surviving

    return float(np.exp(optimize.brentq(apart, -12, 12)))


EQUAL, UNEVEN, QUITTING = (tuple(World(play, sd) for sd in LOG_SD) for play in ("equal", "uneven", "quitting"))


def _players(world: World, players: int, rng: np.random.Generator) -> tuple[Array, Array]:
    """(log factor, player number) of each run."""
    weak = rng.normal(size=players)
    number = np.repeat(np.arange(players), world.runs(weak, rng))
    return weak[number], number


def lives(
    world: World, players: int, surviving: float, rng: np.random.Generator, ratio: Array | float = 1.0
) -> tuple[Array, Array, Array]:
    """(duration, died, player) where the share `surviving` outlasts time 1; censored at 0.5 to 2.5.

    ratio: of the hazard, a number or one a player.
    """
    weak, player = _players(world, players, rng)
    own = world.factor(weak) * hazard(world, surviving) * (ratio if np.isscalar(ratio) else np.asarray(ratio)[player])
    time = rng.exponential(size=weak.size) / own
    cut = rng.uniform(0.5, 2.5, weak.size)
    if world.given_up:
        cut = np.minimum(cut, rng.exponential(size=weak.size) / (world.given_up * own))
    return np.minimum(time, cut), time <= cut, player


def restricted_mean(world: World, surviving: float, ratio: float = 1.0) -> float:
    """The true mean of lives cut at 1."""
    rate = ratio * hazard(world, surviving)
    return world.mean(lambda weak: -np.expm1(-rate * world.factor(weak)) / (rate * world.factor(weak)))


def _held(simulations: int, seed: int, once: Callable[[np.random.Generator], bool]) -> float:
    rng = np.random.default_rng(seed)
    return sum(once(rng) for _ in range(simulations)) / simulations


def survival_coverage(world: World, players: int, surviving: float, simulations: int, seed: int = 1) -> float:
    """The share of simulated playtests whose interval for S(1) holds the truth."""

    def once(rng: np.random.Generator) -> bool:
        _, low, high = survival_by_player(*lives(world, players, surviving, rng)).at(1.0)
        # Nobody seen as far as 1: no statement is made, none can be wrong.
        return not (low > surviving or high < surviving)

    return _held(simulations, seed, once)


def median_coverage(world: World, players: int, simulations: int, seed: int = 1) -> float:
    """The same for the median, which is 1."""

    def once(rng: np.random.Generator) -> bool:
        found = survival_by_player(*lives(world, players, 0.5, rng)).median()
        return (found.low is None or found.low <= 1) and (found.high is None or found.high >= 1)

    return _held(simulations, seed, once)


def mean_coverage(world: World, players: int, simulations: int, seed: int = 1) -> float:
    """The same for the restricted mean up to 1, half of the lives outlasting it."""
    truth = restricted_mean(world, 0.5)

    def once(rng: np.random.Generator) -> bool:
        found = restricted_mean_by_player(*lives(world, players, 0.5, rng), 1.0)
        return found.low <= truth <= found.high

    return _held(simulations, seed, once)


def share_coverage(
    world: World, players: int, share: float, simulations: int, seed: int = 1, trials: int = NOTES
) -> float:
    """The same for a share: `trials` a run (notes; 1 for what is told of runs), log odds with the world's spread."""
    skill = lambda weak, middle: special.expit(middle - world.log_sd * weak)  # noqa: E731
    middle = optimize.brentq(lambda m: world.mean(lambda weak: skill(weak, m)) - share, -12, 12)

    def once(rng: np.random.Generator) -> bool:
        weak, player = _players(world, players, rng)
        found = share_by_player(rng.binomial(trials, skill(weak, middle)), np.full(weak.size, trials), player)
        return found.low <= share <= found.high

    return _held(simulations, seed, once)


def rate_coverage(world: World, players: int, expected: float, simulations: int, seed: int = 1) -> float:
    """The same for deaths a minute: runs of half to one and a half minutes, `expected` deaths a minute of play."""
    mean = world.mean(world.factor)

    def once(rng: np.random.Generator) -> bool:
        weak, player = _players(world, players, rng)
        minutes = rng.uniform(0.5, 1.5, weak.size)
        found = rate_by_player(rng.poisson(expected * world.factor(weak) / mean * minutes), minutes, player)
        return found.low <= expected <= found.high

    return _held(simulations, seed, once)


def incidence_coverage(world: World, players: int, simulations: int, seed: int = 1) -> float:
    """The same for the share that died by time 1 where quitting, at half the hazard, competes; 50 % end by then."""

    def once(rng: np.random.Generator) -> bool:
        duration, ended, player = lives(world, players, 0.5, rng)
        cause = np.where(ended, np.where(rng.random(ended.size) < 2 / 3, 1, 2), 0)
        found = cumulative_incidence(duration, cause, player, 1)
        step = np.searchsorted(found.time, 1.0, side="right") - 1
        return bool(step < 0 or found.low[step] <= 0.5 * 2 / 3 <= found.high[step])

    return _held(simulations, seed, once)


def _compared(world: World, players: int, crossover: bool, rng: np.random.Generator) -> Comparison:
    """Half of the players on each of two equal builds, or everybody on both, every other run."""
    duration, died, player = lives(world, players, 0.4, rng)
    run = np.arange(player.size) - np.searchsorted(player, player)
    mixed = np.argsort(rng.random(players))[player]
    is_b = (run + mixed) % 2 == 0 if crossover else mixed >= players // 2
    return compare_builds(duration, died, player, is_b, horizon=1.0, most=399, seed=int(rng.integers(1 << 30)))


def false_alarms(world: World, players: int, crossover: bool, simulations: int, seed: int = 1) -> tuple[float, float]:
    """The share of playtests of two equal builds with p <= 0.05: (log-rank, restricted mean).

    The interval of the difference leaves out 0 in the same playtests as p <= 0.05.
    """
    rng = np.random.default_rng(seed)
    alarms = np.zeros(2)
    for _ in range(simulations):
        found = _compared(world, players, crossover, rng)
        ps = np.array([1.0 if p is None else p for p in (found.log_rank_p, found.difference_p)])
        apart = found.difference
        assert (ps[1] <= 0.05) == (apart.low is not None and not apart.low <= 0 <= apart.high)
        alarms += ps <= 0.05
    rank, mean = alarms / simulations
    return float(rank), float(mean)


def difference_coverage(world: World, players: int, simulations: int, seed: int = 1) -> float:
    """Coverage of the difference of restricted means where each build has half of the players and B is less deadly."""
    truth = restricted_mean(world, 0.5, 0.5) - restricted_mean(world, 0.5)

    def once(rng: np.random.Generator) -> bool:
        is_b = rng.permutation(players) >= players // 2
        duration, died, player = lives(world, players, 0.5, rng, np.where(is_b, 0.5, 1.0))
        found = compare_builds(duration, died, player, is_b[player], horizon=1.0, most=1).difference
        return found.low is None or found.low <= truth <= found.high

    return _held(simulations, seed, once)


def cells(worlds: Iterable[World], of: Callable[[World, int], float]) -> tuple[float, float]:
    """(mean, worst) over the worlds and the numbers of players."""
    found = [of(world, players) for world in worlds for players in PLAYERS]
    return float(np.mean(found)), min(found)


STATISTICS: dict[str, Callable[[World, int, int], float]] = {
    "S(t) = 0.8": lambda w, k, n: survival_coverage(w, k, 0.8, n),
    "S(t) = 0.5": lambda w, k, n: survival_coverage(w, k, 0.5, n),
    "S(t) = 0.2": lambda w, k, n: survival_coverage(w, k, 0.2, n),
    "median": median_coverage,
    "restricted mean": mean_coverage,
    "died, quitting competing": incidence_coverage,
    "deaths a minute, 0.5": lambda w, k, n: rate_coverage(w, k, 0.5, n),
    "deaths a minute, 2": lambda w, k, n: rate_coverage(w, k, 2.0, n),
    "notes hit, 50 %": lambda w, k, n: share_coverage(w, k, 0.5, n),
    "notes hit, 80 %": lambda w, k, n: share_coverage(w, k, 0.8, n),
    "notes hit, 95 %": lambda w, k, n: share_coverage(w, k, 0.95, n),
    "runs finished, 30 %": lambda w, k, n: share_coverage(w, k, 0.3, n, trials=1),
    "runs finished, 90 %": lambda w, k, n: share_coverage(w, k, 0.9, n, trials=1),
    "difference of restricted means": difference_coverage,
}


def _table(title: str, heads: list[str], rows: Iterable[list[str]]) -> None:
    print(f"\n{title}\n\n| {' | '.join(heads)} |\n|{'---|' * len(heads)}")
    for row in rows:
        print(f"| {' | '.join(row)} |", flush=True)


def _percent(*values: float) -> str:
    mean, *worst = (f"{100 * value:.1f}" for value in values)
    return mean + "".join(f" ({value})" for value in worst)


def main(simulations: int) -> None:
    """Prints every table; each cell from `simulations` playtests, of which nine make a mean."""
    print(
        f"Coverage in per cent at nominal 95 %: mean (worst) of nine cells, {simulations:,} simulated playtests each."
    )
    plays = {"equal": EQUAL, "uneven": UNEVEN, "the weak stop sooner": QUITTING}
    _table(
        "Intervals",
        ["what", *plays],
        (
            [name, *(_percent(*cells(w, lambda w, k: of(w, k, simulations))) for w in plays.values())]  # noqa: B023
            for name, of in STATISTICS.items()
        ),
    )
    giving_up = tuple(World("equal", sd, 1.0) for sd in LOG_SD)
    _table(
        "The weak give up the life they are in",
        ["what", "coverage"],
        (
            [name, _percent(*cells(giving_up, lambda w, k: STATISTICS[name](w, k, simulations)))]  # noqa: B023
            for name in ("S(t) = 0.5", "restricted mean")
        ),
    )
    rows = []
    for play, worlds in plays.items():
        for crossover in (False, True):
            found = [[false_alarms(w, k, crossover, simulations // 2) for w in worlds] for k in PLAYERS]
            means = [np.mean(of_players, axis=0) for of_players in found]
            rows.append(
                [play, "both" if crossover else "one each", *(f"{_percent(r)} / {_percent(m)}" for r, m in means)]
            )
    heads = ["play", "builds played", *(f"{k} players" for k in PLAYERS)]
    _table("Equal builds called different at 5 % (log-rank / restricted mean)", heads, rows)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
