"""Who can be compared fairly on two builds: people who began on them, or the same people in both orders.

Practice is not the build: people who come back do better on the very same game.
"""

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from analysis.findings.progress.player_values import Played, player_values, quantile_of
from analysis.models.observed import ByPlayer
from analysis.models.targets import Population, Target
from analysis.reader import Reader
from analysis.selection import Selection

# As few in each order make an interval; as few on each build make a comparison of different people.
_IN_EACH_ORDER, _ON_EACH = 3, 2


class Unfair(StrEnum):
    """Why a difference cannot be that of the builds."""

    PRACTICE = "practice"  # people of one build had played another before
    UNTAGGED = "untagged"  # it is not known who played


@dataclass(frozen=True)
class Began:
    """On which build each player began, of those of whom it is known; and everybody's runs on each build."""

    build: dict[str, str]
    runs: dict[tuple[str, str], int]

    def attempts(self, labels: tuple[str, str]) -> int:
        """How many attempts half of those who began on a build made there, on the build where they made fewer."""
        made = [[n for (who, on), n in self.runs.items() if on == label == self.build.get(who)] for label in labels]
        return max(1, min(int(np.median(own)) if own else 1 for own in made))


@dataclass(frozen=True)
class Sides:
    """What each player did on the two builds. began: the build each of those on both began with, where both orders were
    played; unfair: why the difference cannot be that of the builds, or None; attempts: so many first ones count, where
    the target speaks of more."""

    before: ByPlayer
    after: ByPlayer
    unfair: Unfair | None = None
    began: dict[str, str] | None = None
    attempts: int | None = None


def read_began(reader: Reader, selection: Selection) -> Began:
    """By the valid runs of all builds; a player without a tag is known only where the run says that it is a first."""
    run = reader.ask_chosen("run_ends", selection.of_every_build())
    player, build = run["player"].astype(str), run["build"].astype(str)
    runs: dict[tuple[str, str], int] = {}
    for key in zip(player.tolist(), build.tolist(), strict=True):
        runs[key] = runs.get(key, 0) + 1
    first = (run["attempt"].astype(int) == 1) & ((run["tagged"] == 1) | (run["first_time"].astype(float) == 1))
    return Began(dict(zip(player[first].tolist(), build[first].tolist(), strict=True)), runs)


def sides_of(data: Played, selection: Selection, target: Target, labels: tuple[str, str], began: Began) -> Sides | None:
    """The values to compare; None where the game cannot answer the target.

    Where both orders were played, all who played both builds. Otherwise those who began on each, by as many attempts on
    both. Otherwise everybody, with the reason why that does not tell.
    """
    every = [player_values(data, selection, target, label) for label in labels]
    before, after = every
    if before is None or after is None:
        return None
    if target.population == Population.ATTEMPT and target.attempt > 1:
        return Sides(before, after)  # everybody has had as much practice
    both = np.intersect1d(before.player, after.player).astype(str)
    orders = {player: began.build[player] for player in both if began.build.get(player) in labels}
    enough = all(list(orders.values()).count(label) >= _IN_EACH_ORDER for label in labels)
    if enough and quantile_of(target) is None:
        return Sides(_among(before, orders), _among(after, orders), began=orders)
    attempts = min(target.attempts, began.attempts(labels))
    fresh = [fresh_values(data, selection, target, label, began, attempts) for label in labels]
    first, second = fresh
    if first is not None and second is not None and min(len(first.player), len(second.player)) >= _ON_EACH:
        return Sides(first, second, attempts=attempts if attempts < target.attempts else None)
    return Sides(before, after, _why(before, after, labels, began))


def on_both(
    data: Played, selection: Selection, target: Target, labels: tuple[str, str]
) -> tuple[tuple[str, float, float], ...]:
    """(player, value before, value after) of those who are known on both builds, be that a fair comparison or not."""
    before, after = (player_values(data, selection, target, label) for label in labels)
    if before is None or after is None:
        return ()
    first, second = (dict(zip(s.player.astype(str).tolist(), s.value.tolist(), strict=True)) for s in (before, after))
    return tuple((player, first[player], second[player]) for player in sorted(first.keys() & second.keys()))


def fresh_values(
    data: Played, selection: Selection, target: Target, label: str, began: Began, attempts: int | None = None
) -> ByPlayer | None:
    """What those did who began on that build, in so many first attempts at most."""
    most = attempts or target.attempts
    own = player_values(data, selection, replace(target, attempts=most), label, most)
    if own is None:
        return None
    return _among(own, {player for player in own.player.astype(str) if began.build.get(player) == label})


def _why(before: ByPlayer, after: ByPlayer, labels: tuple[str, str], began: Began) -> Unfair | None:
    for side, label in zip((after, before), labels[::-1], strict=True):
        # Where the target speaks of nobody there, whoever else played it tells why.
        there = [player for player, on in began.runs if on == label]
        players = [str(player) for player in side.player] or there
        elsewhere = sum(began.build.get(player, label) != label for player in players)
        unknown = sum(player not in began.build for player in players)
        if 2 * elsewhere >= len(players) > 0:
            return Unfair.PRACTICE
        if 2 * unknown >= len(players) > 0:
            return Unfair.UNTAGGED
    return None


def _among(side: ByPlayer, players: dict[str, str] | set[str]) -> ByPlayer:
    keep = np.array([player in players for player in side.player.astype(str)], dtype=bool)
    return ByPlayer(side.player[keep], side.value[keep], side.runs[keep])
