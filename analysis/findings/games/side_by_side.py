"""Several games next to each other. Not one of FINDERS: it is asked of several selections at once.

games.finished, games.quit, games.length, games.rating
    games: game, value, low, high (by player), players, runs, p (of being as high as the highest by chance,
           permuting players; corrected for all pairs; NaN for the highest). value is a share, seconds or 0-100.
    facts: unit, told_apart (how many of the others the highest is told apart from).
"""

from collections.abc import Sequence

import numpy as np
from scipy.stats import permutation_test

from analysis.finding import Finding
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.stats.proportions import share_by_player
from analysis.stats.within_player import holm, mean_of_players
from analysis.words import amount

QUESTION = "games"
METHOD = "games.side_by_side"
_RESAMPLES = 1999
_SEED = 5

# id -> title, unit, what is said of a game.
_SHOWN = {
    "finished": ("Runs that are finished", "share", "of the runs are finished"),
    "quit": ("Runs that are given up", "share", "of the runs are given up"),
    "length": ("How long a run lasts", "s", "alive in a run"),
    "rating": ("How players rate it", "of 100", "rating"),
}


def side_by_side(reader: Reader, selections: Sequence[Selection]) -> list[Finding]:
    """The findings on the games of `selections`; none where fewer than two of them have runs."""
    runs = {selection.game: reader.ask_chosen("run_ends", selection) for selection in selections}
    runs = {game: run for game, run in runs.items() if run["run_id"].size}
    if len(runs) < 2:
        return []
    found = [_compared(name, runs) for name in _SHOWN]
    return [finding for finding in found if finding is not None]


def _compared(name: str, runs: dict[str, Columns]) -> Finding | None:
    title, unit, says = _SHOWN[name]
    rows: dict[str, list[object]] = {n: [] for n in ("game", "value", "low", "high", "players", "runs")}
    by_player: dict[str, tuple[np.ndarray, np.ndarray]] = {}
    for game, run in runs.items():
        value = _values(name, run)
        known = np.isfinite(value)
        player = run["player"].astype(str)[known]
        if not known.any():
            continue
        labels, which = np.unique(player, return_inverse=True)
        total, count = np.bincount(which, value[known]), np.bincount(which).astype(float)
        # What is shown is what is tested: shares of all runs, but means of the players' own means.
        if unit == "share":
            by_player[game] = total, count
            interval: Estimate = share_by_player(value[known], np.ones(known.sum()), player)
        else:
            by_player[game] = total / count, np.ones(labels.size)
            interval = mean_of_players(total / count)
        row = (game, interval.value, interval.low, interval.high, labels.size, int(known.sum()))
        for column, item in zip(rows, row, strict=True):
            rows[column].append(item)
    if len(by_player) < 2:
        return None
    value = np.array(rows["value"], float)
    order = np.argsort(-value, kind="stable")
    table: dict[str, object] = {column: [items[i] for i in order] for column, items in rows.items()}
    names = [str(rows["game"][i]) for i in order]
    p = _against_the_highest([by_player[game] for game in names])
    table["p"] = p
    apart = int(np.sum(p <= 0.05))
    return Finding(
        id=f"games.{name}", question=QUESTION, title=title, sentence=_sentence(names, table, unit, says, apart),
        players=sum(int(n) for n in rows["players"]),  # type: ignore[call-overload]
        runs=sum(int(n) for n in rows["runs"]),  # type: ignore[call-overload]
        method=METHOD, estimate=_highest(table, unit),
        warnings=("One person who played several games counts in each of them; who played what was not drawn by lot.",),
        tables={"games": table}, facts={"unit": unit, "told_apart": apart},
    )  # fmt: skip


def _values(name: str, run: Columns) -> np.ndarray:
    if name == "length":
        return run["alive_us"].astype(float) / 1e6
    if name == "rating":
        return run["rating"].astype(float)
    # A run that was cut off might have been finished or given up: it says nothing of either.
    ending = run["ending"].astype(str)
    return np.where(ending == "cut", np.nan, (ending == name).astype(float))


def _against_the_highest(own: list[tuple[np.ndarray, np.ndarray]]) -> np.ndarray:
    """p of each game but the first; own: of each game (total, count), one row a player, the highest game first."""
    p = np.full(len(own), np.nan)
    for i, other in enumerate(own[1:], 1):
        total, count = (np.concatenate(columns) for columns in zip(own[0], other, strict=True))
        if total.size < 4 or np.ptp(total / count) == 0:
            p[i] = 1.0
            continue

        def apart(
            a: np.ndarray, b: np.ndarray, axis: int, total: np.ndarray = total, count: np.ndarray = count
        ) -> np.ndarray:
            one, two = (total[rows].sum(axis=axis) / count[rows].sum(axis=axis) for rows in (a, b))
            return np.asarray(one - two)

        tested = permutation_test(
            (np.arange(own[0][0].size), np.arange(own[0][0].size, total.size)),
            apart,
            n_resamples=_RESAMPLES,
            vectorized=True,
            alternative="two-sided",
            rng=np.random.default_rng(_SEED),
        )
        p[i] = tested.pvalue
    # The highest could have been any of them: it is not one pair in k - 1 that is looked at, but one in k (k - 1) / 2.
    return np.minimum(1.0, holm(p) * len(own) / 2)


def _highest(table: dict[str, object], unit: str) -> Estimate:
    first = {name: column[0] for name, column in table.items()}  # type: ignore[index]
    numbers = [None if first[name] is None else float(first[name]) for name in ("value", "low", "high")]
    return Estimate(numbers[0], numbers[1], numbers[2], unit=unit)


def _sentence(names: list[str], table: dict[str, object], unit: str, says: str, apart: int) -> str:
    values = table["value"]
    top = amount(float(values[0]), unit)  # type: ignore[index]
    rest = len(names) - 1
    if apart == 0:
        sure = "but the data do not tell it apart from any of the others"
    elif apart == rest:
        sure = "and is told apart from every other game" if rest > 1 else f"and is told apart from {names[1]}"
    else:
        sure = f"and is told apart from {apart} of {rest} others"
    return f"{names[0]} is highest ({top} {says}), {sure} (5 %, corrected for the number of games)."
