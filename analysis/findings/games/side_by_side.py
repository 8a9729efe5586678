"""Several games next to each other: it is asked of several selections at once, and answers no question of one game."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import permutation_test

from analysis.finding import Finding
from analysis.findings.declared import Column, Declared, Size, estimate_cells, estimate_columns
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.stats.players.within_player import holm, mean_of_players
from analysis.stats.proportions import share_by_player
from analysis.words import amount

Array = np.ndarray
_RESAMPLES = 1999
_SEED = 5


@dataclass(frozen=True)
class Figure:
    """What games are compared by. says: what is said of a game, after the number; first: what the first place of a
    class means; high: whether that is the highest value."""

    title: str
    unit: str
    says: str
    first: str
    high: bool = True


FIGURES = {
    "rating": Figure("How players rate it", "of 100", "rating", "rated highest"),
    "finished": Figure("Runs that are finished", "share", "of the runs are finished", "finished most often"),
    "quit": Figure("Runs that are given up", "share", "of the runs are given up", "given up least often", high=False),
    "length": Figure("How long a run lasts", "s", "alive in a run", "played longest, which is no merit by itself"),
}


def _declared(name: str) -> Declared:
    title, unit = FIGURES[name].title, FIGURES[name].unit
    table = (
        Column("game", "", "the game; the highest first"),
        *estimate_columns("value", unit, "of all its runs, or the mean of its players' means"),
        Column("players", "", "players it rests on"),
        Column("runs", "", "runs it rests on"),
        Column("p", "", "chance of being as far below the highest; corrected for all pairs; none for the highest"),
    )
    facts = (
        Column("unit", "", "what the values are in"),
        Column("told_apart", "", "how many of the others the highest is told apart from"),
    )
    return Declared(f"games.{name}", "games", title, "games.side_by_side", {"games": table}, facts)


SIDE_BY_SIDE = {name: _declared(name) for name in ("finished", "quit", "length", "rating")}


def side_by_side(reader: Reader, selections: Sequence[Selection]) -> list[Finding]:
    """The findings on the games of `selections`; none where fewer than two of them have runs."""
    runs = {selection.game: reader.ask_chosen("run_ends", selection) for selection in selections}
    runs = {game: run for game, run in runs.items() if run["run_id"].size}
    if len(runs) < 2:
        return []
    found = [_compared(name, runs) for name in SIDE_BY_SIDE]
    return [finding for finding in found if finding is not None]


@dataclass(frozen=True)
class _Game:
    """One game. total, count: (players,), a player's sum and what it is divided by."""

    name: str
    total: Array
    count: Array
    estimate: Estimate
    runs: int


def _game(name: str, game: str, unit: str, run: Columns) -> _Game | None:
    value = figure_values(name, run)
    known = np.isfinite(value)
    if not known.any():
        return None
    player, value = run["player"][known], value[known]
    by_player = pd.Series(value).groupby(player)
    total, count = by_player.sum().to_numpy(), by_player.size().to_numpy(float)
    # What is shown is what is tested: shares of all runs, but means of the players' own means.
    if unit == "share":
        estimate: Estimate = share_by_player(value, np.ones(value.size), player)
    else:
        total, count = total / count, np.ones(total.size)
        estimate = mean_of_players(total)
    return _Game(game, total, count, estimate.in_unit(unit), int(value.size))


def _compared(name: str, runs: dict[str, Columns]) -> Finding | None:
    shown = FIGURES[name]
    games = [one for game, run in runs.items() if (one := _game(name, game, shown.unit, run))]
    if len(games) < 2:
        return None
    games.sort(key=lambda one: -(one.estimate.value or 0.0))
    p = _against_the_highest(games)
    rows = [
        {
            "game": one.name,
            **estimate_cells("value", one.estimate),
            "players": one.total.size,
            "runs": one.runs,
            "p": chance,
        }
        for one, chance in zip(games, p, strict=True)
    ]
    apart = int(np.sum(p <= 0.05))
    size = Size(
        sum(one.total.size for one in games),
        sum(one.runs for one in games),
        ("One person who played several games counts in each of them; who played what was not drawn by lot.",),
    )
    first = games[0].estimate
    estimate = Estimate(first.value, first.low, first.high, unit=shown.unit)
    facts = {"unit": shown.unit, "told_apart": apart}
    return SIDE_BY_SIDE[name].finding(size, _sentence(games, shown, apart), estimate, {"games": rows}, facts)


def figure_values(name: str, run: Columns) -> Array:
    """Of each run (rows of queries/run_ends.sql) the figure `finished`, `quit`, `length` or `rating`; NaN for none."""
    if name == "length":
        return run["alive_us"].astype(float) / 1e6
    if name == "rating":
        return run["rating"]
    # A run that was cut off might have been finished or given up: it says nothing of either.
    ending = run["ending"]
    return np.where(ending == "cut", np.nan, (ending == name).astype(float))


def _against_the_highest(games: Sequence[_Game]) -> Array:
    """p of each game but the first, which is the highest."""
    p = np.full(len(games), np.nan)
    highest = games[0]
    for i, other in enumerate(games[1:], 1):
        total = np.concatenate([highest.total, other.total])
        count = np.concatenate([highest.count, other.count])
        if total.size < 4 or np.ptp(total / count) == 0:
            p[i] = 1.0
            continue

        def apart(a: Array, b: Array, axis: int, total: Array = total, count: Array = count) -> Array:
            one, two = (total[rows].sum(axis=axis) / count[rows].sum(axis=axis) for rows in (a, b))
            return np.asarray(one - two)

        tested = permutation_test(
            (np.arange(highest.total.size), np.arange(highest.total.size, total.size)),
            apart,
            n_resamples=_RESAMPLES,
            vectorized=True,
            alternative="two-sided",
            rng=np.random.default_rng(_SEED),
        )
        p[i] = tested.pvalue
    # The highest could have been any of them: it is not one pair in k - 1 that is looked at, but one in k (k - 1) / 2.
    return np.minimum(1.0, holm(p) * len(games) / 2)


def _sentence(games: Sequence[_Game], shown: Figure, apart: int) -> str:
    rest = len(games) - 1
    if apart == 0:
        sure = "but the data do not tell it apart from any of the others"
    elif apart == rest:
        sure = "and is told apart from every other game" if rest > 1 else f"and is told apart from {games[1].name}"
    else:
        sure = f"and is told apart from {apart} of {rest} others"
    top = amount(games[0].estimate.value, shown.unit)
    return f"{games[0].name} is highest ({top} {shown.says}), {sure} (5 %, corrected for the number of games)."
