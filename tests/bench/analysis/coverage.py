"""How often 95 % intervals hold the truth, and how often builds that do not differ are called different.

    python -m tests.bench.analysis.coverage [SIMULATIONS]     prints the tables of analysis/METHODS.md

Players differ by a gamma frailty (survival, rates) or a beta-distributed skill (shares), so that the true marginal
value is known in closed form. The estimators are called as the findings call them.
"""

import sys
from dataclasses import dataclass

import numpy as np

from analysis.stats.clustered import survival_by_player
from analysis.stats.compare import compare_builds
from analysis.stats.competing import cumulative_incidence
from analysis.stats.proportions import share_by_player
from analysis.stats.rates import rate_by_player


@dataclass(frozen=True)
class Case:
    """How many runs each player plays and how much players differ."""

    name: str
    runs: int
    frailty_sd: float
    correlation: float  # of two notes of one player

    @property
    def variance(self) -> float:
        return self.frailty_sd**2


PLAIN = Case("plain", 3, 0.6, 0.15)
HARD = Case("hard", 10, 1.0, 0.30)
NOTES = 120


def lives(case: Case, players: int, surviving: float, rng: np.random.Generator) -> tuple[np.ndarray, ...]:
    """(duration, died, player) of a world in which the share `surviving` outlasts time 1; censored at 1 to 2."""
    v = case.variance
    # With frailty u ~ gamma(mean 1, variance v), S(t) = (1 + v h t)^(-1/v).
    hazard = (surviving**-v - 1) / v
    frailty = np.repeat(rng.gamma(1 / v, v, players), case.runs)
    time = rng.exponential(size=frailty.size) / (frailty * hazard)
    cut = rng.uniform(0.5, 2.5, frailty.size)
    return np.minimum(time, cut), time <= cut, np.repeat(np.arange(players), case.runs)


def survival_coverage(case: Case, players: int, surviving: float, simulations: int, seed: int = 1) -> float:
    """The share of simulated playtests whose interval for S(1) holds the truth. Half of the cuts fall before 1.5."""
    rng = np.random.default_rng(seed)
    held = 0
    for _ in range(simulations):
        _, low, high = survival_by_player(*lives(case, players, surviving, rng)).at(1.0)
        # Nobody seen as far as 1: no statement is made, none can be wrong.
        held += not (low > surviving or high < surviving)
    return held / simulations


def share_coverage(case: Case, players: int, share: float, simulations: int, seed: int = 1) -> float:
    """The same for a hit rate: NOTES notes a player, skills from a beta distribution with the case's correlation."""
    rng = np.random.default_rng(seed)
    size = 1 / case.correlation - 1
    held = 0
    for _ in range(simulations):
        skill = rng.beta(share * size, (1 - share) * size, players)
        hits = rng.binomial(NOTES, skill)
        found = share_by_player(hits, np.full(players, NOTES), np.arange(players))
        held += found.low <= share <= found.high
    return held / simulations


def rate_coverage(case: Case, players: int, expected: float, simulations: int, seed: int = 1) -> float:
    """The same for deaths a minute: runs of half to one and a half minutes, `expected` deaths a minute."""
    rng = np.random.default_rng(seed)
    held = 0
    player = np.repeat(np.arange(players), case.runs)
    for _ in range(simulations):
        minutes = rng.uniform(0.5, 1.5, player.size)
        frailty = rng.gamma(1 / case.variance, case.variance, players)[player]
        found = rate_by_player(rng.poisson(expected * frailty * minutes), minutes, player)
        held += found.low <= expected <= found.high
    return held / simulations


def incidence_coverage(case: Case, players: int, simulations: int, seed: int = 1) -> float:
    """The same for the share that died by time 1 where quitting, at half the hazard, competes; 50 % end by then."""
    rng = np.random.default_rng(seed)
    held = 0
    for _ in range(simulations):
        duration, ended, player = lives(case, players, 0.5, rng)
        cause = np.where(ended, np.where(rng.random(ended.size) < 2 / 3, 1, 2), 0)
        found = cumulative_incidence(duration, cause, player, 1)
        step = np.searchsorted(found.time, 1.0, side="right") - 1
        held += step < 0 or found.low[step] <= 0.5 * 2 / 3 <= found.high[step]
    return held / simulations


def false_alarms(case: Case, players: int, crossover: bool, simulations: int, seed: int = 1) -> tuple[float, float]:
    """The share of playtests of two equal builds with p <= 0.05: (log-rank, restricted mean).

    Between players: half of them play each build. Crossover: everybody plays both, in half of the runs each.
    """
    rng = np.random.default_rng(seed)
    alarms = np.zeros(2)
    for _ in range(simulations):
        duration, died, player = lives(case, players, 0.4, rng)
        run = np.tile(np.arange(case.runs), players)
        is_b = (run + player) % 2 == 0 if crossover else player >= players // 2
        found = compare_builds(duration, died, player, is_b, most=399, seed=int(rng.integers(1 << 30)))
        alarms += found.log_rank_p <= 0.05, found.difference_p <= 0.05
    rank, mean = alarms / simulations
    return float(rank), float(mean)


def _table(title: str, heads: list[str], rows: list[list[str]]) -> None:
    print(f"\n{title}\n\n| {' | '.join(heads)} |\n|{'---|' * len(heads)}")
    for row in rows:
        print(f"| {' | '.join(row)} |", flush=True)


def _percent(value: float) -> str:
    return f"{100 * value:.1f}"


def main(simulations: int) -> None:
    """Prints every table; each cell from `simulations` playtests."""
    print(f"Coverage in percent at nominal 95 %, {simulations:,} simulated playtests a cell.")
    players = (8, 12, 20)
    heads = ["case", "true value", *(f"{k} players" for k in players)]
    cases = (PLAIN, HARD)
    _table(
        "Survival S(1)",
        heads,
        [
            [c.name, f"{s}", *(_percent(survival_coverage(c, k, s, simulations)) for k in players)]
            for c in cases
            for s in (0.8, 0.5, 0.2)
        ],
    )
    _table(
        "Share of notes hit",
        heads,
        [
            [c.name, f"{s}", *(_percent(share_coverage(c, k, s, simulations)) for k in players)]
            for c in cases
            for s in (0.5, 0.8, 0.95)
        ],
    )
    _table(
        "Deaths a minute",
        heads,
        [
            [c.name, f"{r}", *(_percent(rate_coverage(c, k, r, simulations)) for k in players)]
            for c in cases
            for r in (0.5, 2.0)
        ],
    )
    _table(
        "Share that died, quitting competing",
        heads,
        [[c.name, "0.333", *(_percent(incidence_coverage(c, k, simulations)) for k in players)] for c in cases],
    )
    rows = []
    for case in cases:
        for crossover in (False, True):
            found = [false_alarms(case, k, crossover, simulations // 2) for k in players]
            rows.append(
                [
                    case.name,
                    "both builds" if crossover else "one build each",
                    *(f"{_percent(rank)} / {_percent(mean)}" for rank, mean in found),
                ]
            )
    _table("Equal builds called different at 5 % (log-rank / restricted mean)", ["case", "played", *heads[2:]], rows)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4000)
