"""The next playtest: how many players and runs, who plays what in which order, and when to stop.

Precision comes from simulation: new people are played under posterior draws of the fitted model, the model is fitted
again to all there is then, and the width of its interval is what such a playtest would leave of the doubt.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.models.fitted import Fitted
from analysis.models.setting import Setting
from analysis.models.staged_games.simulate import more_players
from analysis.models.staged_games.staged import StagedModel, fit_staged
from analysis.models.targets import Statistic, Target
from analysis.stats.laws import binomial_exactly
from analysis.stats.proportions import newcombe

SIZES = (4, 8, 12, 20, 32)
POWER_PLAYERS = (6, 8, 10, 12, 16, 20, 26, 32, 40, 60)
_SEED = 1


@dataclass(frozen=True)
class Precision:
    """What so many more players leave of the doubt: half the 80 % interval, mean of `plays` simulated playtests."""

    players: int
    runs: int
    half_width: float
    plays: int


@dataclass(frozen=True)
class Power:
    """Chance that so many players on each build show an interval of the difference that leaves out zero."""

    players_each: int
    chance: float


@dataclass(frozen=True)
class Slot:
    """One player of the schedule: the tag to enter on the console, and the builds in order with runs on each."""

    number: int
    player: str
    builds: tuple[str, ...]
    runs: int


@dataclass(frozen=True)
class Plan:
    """The plan of a playtest. players_needed: to know the target so well; None where that is more than MOST_PLAYERS.

    precision: a simulation beside it, which tells whether the law of `players_needed` holds for this game.
    """

    target: str
    unit: str
    now_half_width: float
    wanted_half_width: float
    precision: tuple[Precision, ...]
    players_needed: int | None
    power: tuple[Power, ...]
    players_each_needed: int | None
    schedule: tuple[Slot, ...]


def half_width(figures: np.ndarray) -> float:
    """Half the 80 % interval of a figure's draws."""
    low, high = np.quantile(figures, [0.1, 0.9])
    return float(high - low) / 2


def precision_of(
    model: StagedModel,
    target: Target,
    sizes: Sequence[int] = SIZES,
    runs: int = 3,
    plays: int = 6,
    tick: Callable[[], None] | None = None,
) -> tuple[Precision, ...]:
    """What more players on the present build would leave of the doubt about `target`. tick may raise to cancel."""
    rng = np.random.default_rng(_SEED)
    found = []
    for size in sizes:
        widths = []
        for play in range(plays):
            if tick:
                tick()
            draw = (play * 37 + 11) % len(model.hazard.sigma)
            again = fit_staged(more_players(model, draw, size, runs, rng), model.priors, draws=120, seed=play + 1)
            widths.append(half_width(again.figures({}, [target], quick=False)[0]))
        found.append(Precision(size, runs, float(np.mean(widths)), plays))
    return tuple(found)


def power_of(
    model: Fitted, target: Target, one: Setting, other: Setting, sizes: Sequence[int] = POWER_PLAYERS
) -> tuple[Power, ...]:
    """Can two settings be told apart? Every pair of counts is compared as `setscrew compare` does, and weighed by its
    chance, averaged over the posterior draws: no simulation, so no noise of one.

    The chance need not rise with every player: counts are whole, and the least difference that counts jumps. Only for
    targets that are shares of players or runs; an empty tuple otherwise.
    """
    if target.statistic != Statistic.SHARE:
        return ()
    first, second = (np.clip(model.figures(s, [target])[0], 0, 1) for s in (one, other))
    found = []
    for n in sizes:
        counts = np.arange(n + 1)
        apart = _apart(counts[:, None], counts[None, :], n)
        a, b = (binomial_exactly(counts[:, None], n, shares) for shares in (first, second))
        found.append(Power(n, float((a * (apart @ b)).sum(axis=0).mean())))
    return tuple(found)


def each_needed(power: Sequence[Power], wanted: float = 0.8) -> int | None:
    """Players on each build from which on the chance stays at `wanted` or above; None where no size does."""
    needed = None
    for row in reversed(power):
        if row.chance < wanted:
            break
        needed = row.players_each
    return needed


def _apart(a: np.ndarray, b: np.ndarray, n: int) -> np.ndarray:
    """Does Newcombe's hybrid interval of the difference leave out zero? a, b: successes among n each."""
    low, high = newcombe(a, n, b, n)
    return (low > 0) | (high < 0)


def schedule(
    builds: Sequence[str], players: int, runs: int, first_tag: int = 1, within: bool = False
) -> tuple[Slot, ...]:
    """Who plays what: the builds balanced in random blocks, so that time of day favours none.

    within: every player plays every build, the orders in equal numbers (for two builds AB and BA); otherwise each
    player plays one build. Tags go up from `first_tag`; player numbers end at 255, as a log's u8 holds.
    """
    if not builds or players < 1 or runs < 1:
        raise ValueError("a schedule needs at least one build, one player and one run")
    if first_tag < 1 or first_tag + players - 1 > 255:
        raise ValueError("player numbers go from 1 to 255; start lower or plan fewer players")
    rng = np.random.default_rng(_SEED)
    if within:
        count = len(builds)
        orders = [tuple(builds[(start + k) % count] for k in range(count)) for start in range(count)]
    else:
        orders = [(build,) for build in builds]
    slots: list[Slot] = []
    while len(slots) < players:
        for place in rng.permutation(len(orders)):
            if len(slots) < players:
                number = len(slots) + 1
                slots.append(Slot(number, f"P{first_tag + number - 1:02d}", orders[int(place)], runs))
    return tuple(slots)
