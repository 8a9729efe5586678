"""One lesson in which a whole class plays: who sits where when, how many rounds fit, and what so many players tell.

Every pair has a table with its own game. One of a pair stays there and records, the other goes round and plays; at half
time they change places. In the round k whoever goes round plays k tables on, so nobody plays the own game or one twice.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from analysis.stats.estimate import INNER, normal_critical
from analysis.stats.proportions import wilson

# Minutes and seconds for what no log tells. Common practice, no source.
OPENING_MIN, STARTING_MIN, CHANGING_MIN, CLOSING_MIN = 5.0, 4.0, 2.0, 5.0
SEATED_S = 45.0  # sit down, headphones, the tag
BETWEEN_RUNS_S = 10.0
FLASHED_S = 45.0  # another build put on the console
ASSUMED_RUN_S = 60.0  # where nobody has played yet
MOST_PAIRS, MOST_MINUTES = 125, 480
USUAL_PAIRS, USUAL_MINUTES = 30, 60


@dataclass(frozen=True)
class RunTime:
    """How long a run takes from its start to its end: mean of the players' means and their standard deviation, in s.

    players: whom it was measured of, 0: of nobody, it is assumed. makers: they were the game's own makers.
    """

    mean_s: float = ASSUMED_RUN_S
    spread_s: float = 0.0
    runs: int = 0
    players: int = 0
    makers: bool = False


class Part(StrEnum):
    """What happens in a part of the lesson."""

    OPENING = "opening"
    STARTING = "starting"
    ROUND = "round"
    CHANGING = "changing"
    CLOSING = "closing"


@dataclass(frozen=True)
class Step:
    """A part of the lesson, in minutes from its start. round: its number or 0; on: how many tables on players sit."""

    start: float
    end: float
    part: Part
    round: int = 0
    on: int = 0


@dataclass(frozen=True)
class Hour:
    """The lesson of `minutes` that `pairs` have. wanted: players for each table; players: who get to play at each.

    seats: how many the class can send to one table. needed: minutes for all that the class can send. shorter_runs: so
    many runs each would fit for all, 0: not even one. players is what fits into the time, at most seats and wanted.
    """

    pairs: int
    minutes: float
    runs: int
    builds: int
    round_min: float
    wanted: int
    seats: int
    players: int
    needed: float
    shorter_runs: int
    steps: tuple[Step, ...]

    @property
    def too_short(self) -> bool:
        """Whether somebody whom the class could send does not get to play."""
        return self.players < min(self.wanted, self.seats)

    @property
    def lessons(self) -> int:
        """How many such lessons it takes; 0 where not one round fits into one."""
        return -(-min(self.wanted, self.seats) // self.players) if self.players else 0


def round_minutes(time: RunTime, runs: int, builds: int = 1, flashed: int = 0) -> float:
    """Minutes of a round, to the half minute: enough for nine players of ten to play `runs` on each of `builds`.

    Players are taken as normally distributed about their mean; the mean of one has no spread, and gets a
    quarter more. flashed: how often another build is put on the console meanwhile.
    """
    each = runs * builds
    reserve = normal_critical(INNER) * time.spread_s if time.spread_s > 0 else time.mean_s / 4
    playing = each * (time.mean_s + reserve) + (each - 1) * BETWEEN_RUNS_S
    return float(np.ceil((SEATED_S + flashed * FLASHED_S + playing) / 30) / 2)


def hour(
    time: RunTime,
    wanted: int,
    runs: int,
    builds: int = 1,
    flashed: int = 0,
    pairs: int = USUAL_PAIRS,
    minutes: float = USUAL_MINUTES,
) -> Hour:
    """The lesson. wanted: players for each table; builds: on how many each of them plays. Raises ValueError.

    One pair alone is one table to which players come from elsewhere: as many as are wanted.
    """
    if min(wanted, runs, builds, pairs) < 1 or pairs > MOST_PAIRS or not 0 < minutes <= MOST_MINUTES:
        raise ValueError(f"a lesson needs 1 to {MOST_PAIRS} pairs and 1 to {MOST_MINUTES} minutes")
    alone = pairs == 1
    seats = wanted if alone else 2 * (pairs - 1)
    most = min(wanted, seats)
    each = round_minutes(time, runs, builds, flashed)
    fit = min(most, _rounds(minutes, each, alone))
    shorter = next(
        (r for r in range(runs, 0, -1) if _rounds(minutes, round_minutes(time, r, builds, flashed), alone) >= most), 0
    )
    steps = tuple(_steps(fit, each, alone))
    return Hour(
        pairs, minutes, runs, builds, each, wanted, seats, fit, _fixed(most, alone) + most * each, shorter, steps
    )


def _fixed(rounds: int, alone: bool) -> float:
    changes = 0 if alone or rounds < 2 else CHANGING_MIN
    return OPENING_MIN + STARTING_MIN + changes + CLOSING_MIN


def _rounds(minutes: float, each: float, alone: bool) -> int:
    """How many rounds of `each` minutes fit."""
    rounds = int(max(0.0, minutes - _fixed(2, alone)) / each + 1e-9)
    return rounds or int(minutes - _fixed(1, alone) >= each)


def _steps(rounds: int, each: float, alone: bool) -> Iterable[Step]:
    half = rounds if alone or rounds < 2 else (rounds + 1) // 2
    yield Step(0.0, OPENING_MIN, Part.OPENING)
    now = OPENING_MIN + STARTING_MIN
    yield Step(OPENING_MIN, now, Part.STARTING)
    for number in range(1, rounds + 1):
        if number == half + 1:
            yield Step(now, now + CHANGING_MIN, Part.CHANGING)
            now += CHANGING_MIN
        yield Step(now, now + each, Part.ROUND, number, 0 if alone else (number - 1) % half + 1)
        now += each
    yield Step(now, now + CLOSING_MIN, Part.CLOSING)


def share_margins(sizes: Iterable[int]) -> tuple[tuple[int, float], ...]:
    """(players, margin of error) of the share of players who do something, where half of them do: the widest there is.

    The margin is half of Wilson's interval; each player counts once, as first-time players do.
    """
    found = []
    for players in sizes:
        low, high = wilson(players / 2, players)
        found.append((players, (high - low) / 2))
    return tuple(found)
