"""What a number would be without one player at a time, and how many equally busy players an uneven playtest is worth.

From more than MOST_PLAYERS players on, and where the table of players and times would outgrow memory, the linearised
variance takes over: there the two agree.
"""

import numpy as np

from analysis.stats.estimate import LEVEL, margin_by_player

Array = np.ndarray
# Refits for more players than this change no digit that is shown.
MOST_PLAYERS = 200
# Cells of a table of players and times.
MOST_CELLS = 4_000_000


def effective_players(weight: Array) -> float:
    """How many players who played alike would weigh as evenly: (sum w)^2 / sum w^2, 0 of none.

    weight: (players,) what each brings in: runs, trials or time, not negative. One player with 15 runs among eleven
    with one each makes 2.9. Kish 1965, Survey Sampling, section 11.7.
    """
    square = float(np.sum(np.square(weight, dtype=float)))
    return float(np.sum(weight, dtype=float)) ** 2 / square if square > 0 else 0.0


def critical_by_player(weight: Array, level: float = LEVEL) -> float:
    """Half an interval in standard errors, by t with the effective number of players less one; NaN for a single one.

    weight: (players,). No less than one degree of freedom, however uneven the play.
    """
    players = int(np.count_nonzero(weight))
    return margin_by_player(1.0, max(effective_players(weight), 2.0), level) if players > 1 else float("nan")


def feasible(players: int, times: int) -> bool:
    """Whether leaving out one player at a time is worth its cost."""
    return players <= MOST_PLAYERS and players * times <= MOST_CELLS


def deviations(value: Array | float, without: Array) -> Array:
    """(players, ...) whose sum of squares over players is the variance of `value`.

    without: (players, ...) the same without each player. Centred on the whole's value: Efron & Stein 1981, Ann. Stat.
    9:586-596; with uneven clusters as in MacKinnon, Nielsen & Webb 2023, J. Econometrics 232:272-299 (CV3).
    """
    players = len(without)
    return np.sqrt((players - 1) / players) * (value - without)


def by_player(duration: Array, happened: Array, number: Array, times: Array, players: int) -> tuple[Array, Array]:
    """(players, times) runs at risk just before, and events at, each of the sorted `times`.

    number: (n,) player numbers from 0; an event at a time that is not among `times` is lost.
    """
    left = np.searchsorted(times, duration, side="right")  # at risk at the first `left` times
    ends = np.zeros((players, times.size + 1))
    np.add.at(ends, (number, left), 1)
    at_risk = ends[:, ::-1].cumsum(axis=1)[:, ::-1][:, 1:]
    events = np.zeros((players, times.size))
    np.add.at(events, (number[happened], np.searchsorted(times, duration[happened])), 1)
    return at_risk, events


def survival_without(at_risk: Array, deaths: Array) -> Array:
    """(players, times) Kaplan-Meier's share surviving beyond each time without each player.

    at_risk, deaths: (players, times) as of `by_player`. Where nobody else was seen so far the curve stays as it was.
    """
    others, dying = at_risk.sum(axis=0) - at_risk, deaths.sum(axis=0) - deaths
    return np.cumprod(1 - dying / np.maximum(others, 1), axis=1)
