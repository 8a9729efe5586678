"""How often "it helped" is said where the game is the same, and where it is better by 20 points.

    python -m tests.bench.analysis.did_it_help [SIMULATIONS]     prints the table of analysis/METHODS.md

Players differ by a normal skill on the logit scale, and get better with the logarithm of their attempts, whatever the
build. What a player does on an attempt is either a share of 60 notes hit, or whether the end was reached. The verdict
is asked for as the page asks; only what reads runs from a study is stood in for.
"""

import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from unittest import mock

import numpy as np

from analysis.findings.progress import comparison, fair
from analysis.findings.progress.comparison import Pair, compare_target
from analysis.findings.progress.fair import Began
from analysis.findings.progress.verdict import Verdict
from analysis.models.observed import ByPlayer
from analysis.models.targets import Outcome, Population, Statistic, Target
from analysis.selection import Selection
from analysis.stats.estimate import LEVEL

NOTES = 60
HITS = Target("hits", Outcome.HIT_SHARE, 0.8, 0.05, population=Population.NEW_PLAYERS, statistic=Statistic.MEAN)
END = Target("the end", Outcome.FINISH, 0.8, 0.05)
Play = tuple[str, int, str]  # player, attempt, build


@dataclass(frozen=True)
class World:
    """base: logit of the first attempt on the earlier build; better: what the later one adds; learning: for each
    doubling of the attempts; spread: of the players' skill."""

    base: float = 0.0
    better: float = 0.0
    learning: float = 0.6
    spread: float = 0.5


@dataclass
class Played:
    """One value a player and attempt; stands in for what is read from a study."""

    target: Target
    rows: list[tuple[str, int, str, float]]

    def values(
        self, _data: object, _selection: object, target: Target, label: str, most: int | None = None
    ) -> ByPlayer:
        """As `player_values`: hits of all attempts where no number is given, the end on the first."""
        if target.population == Population.FIRST_ATTEMPT:
            most = 1
        own: dict[str, list[float]] = {}
        for player, attempt, build, value in self.rows:
            if build == label and (most is None or attempt <= most):
                own.setdefault(player, []).append(value)
        means = np.array([np.mean(v) for v in own.values()])
        return ByPlayer(np.array(list(own), dtype=str), means, np.array([len(v) for v in own.values()], dtype=int))

    @property
    def began(self) -> Began:
        runs = Counter((player, build) for player, _, build, _ in self.rows)
        return Began({player: build for player, attempt, build, _ in self.rows if attempt == 1}, dict(runs))


def play(world: World, target: Target, plays: list[Play], rng: np.random.Generator) -> Played:
    """What came of the plays."""
    skill = {player: rng.normal(0, world.spread) for player in dict.fromkeys(p for p, _, _ in plays)}
    rows = []
    for player, attempt, build in plays:
        logit = world.base + skill[player] + world.learning * np.log2(attempt) + world.better * (build == "B")
        p = 1 / (1 + np.exp(-logit))
        rows.append(
            (player, attempt, build, rng.binomial(NOTES, p) / NOTES if target is HITS else float(rng.random() < p))
        )
    return Played(target, rows)


def verdict(played: Played, before: str = "A", after: str = "B") -> Verdict:
    """What is said of `after` against `before`."""
    others = sorted({build for _, _, build, _ in played.rows} - {before, after})
    pair = Pair(before, after, others, played.began, wanted=True)
    with mock.patch.object(fair, "player_values", played.values):
        found = compare_target(None, Selection("game"), played.target, pair, (), LEVEL)  # type: ignore[arg-type]
    assert found is not None
    return found.verdict


def new_people(build: str, players: int, runs: int = 3, first: int = 1) -> list[Play]:
    """People who begin on that build."""
    return [(f"{build}{n}", attempt, build) for n in range(players) for attempt in range(first, first + runs)]


def the_same_people(n: int) -> list[Play]:
    """Three runs on A, then three on B."""
    return [(f"p{who}", a, "A" if a <= 3 else "B") for who in range(n) for a in range(1, 7)]


def some_come_back(n: int) -> list[Play]:
    """Two thirds of the people of A play B too, with as many new ones as are missing."""
    back = [play for play in the_same_people(n) if play[2] == "A" or int(play[0][1:]) < 2 * n // 3]
    return back + new_people("B", n - 2 * n // 3)


def more_runs_later(n: int) -> list[Play]:
    """New people on each, one run on A and six on B."""
    return new_people("A", n, 1) + new_people("B", n, 6)


def both_orders(n: int) -> list[Play]:
    """Everybody plays both, every second one B first."""
    return [(f"p{who}", a, "AB"[(a > 3) ^ (who % 2)]) for who in range(n) for a in range(1, 7)]


def new_people_on_each(n: int) -> list[Play]:
    """Three runs each."""
    return new_people("A", n) + new_people("B", n)


def count(
    plays: Callable[[int], list[Play]], world: World, target: Target, players: int, times: int, seed: int
) -> Counter[Verdict]:
    """How often each verdict is given."""
    rng = np.random.default_rng(seed)
    return Counter(verdict(play(world, target, plays(players), rng)) for _ in range(times))


def picked_as_the_low_one(target: Target, players: int, times: int, seed: int, builds: int = 5) -> Counter[Verdict]:
    """The same game under five labels; the lowest is changed, in nothing that matters, and played again."""
    rng = np.random.default_rng(seed)
    found: Counter[Verdict] = Counter()
    for _ in range(times):
        labels = [f"A{n}" for n in range(builds)]
        plays = [one for label in [*labels, "B"] for one in new_people(label, players, 1)]
        played = play(World(), target, plays, rng)
        low = min(labels, key=lambda label: played.values(None, None, target, label, 1).value.mean())
        found[verdict(played, low)] += 1
        if low_gains(played, low):
            found["without what was expected"] += 1  # type: ignore[index]
    return found


def low_gains(played: Played, low: str) -> bool:
    """Whether it would be said to have helped if nothing was expected of the picked build."""
    with mock.patch.object(comparison, "most_careful", lambda *_: None):
        return verdict(played, low) == Verdict.HELPED


SAME = (the_same_people, some_come_back, more_runs_later, both_orders, new_people_on_each)
BETTER = replace(World(), better=0.85)  # 50 % becomes 70 %


def main(times: int) -> None:
    """Prints how often it is said to have helped."""
    print("| who plays | players | the game | hits | the end |\n|---|---:|---|---:|---:|")
    for world, game in ((World(), "the same"), (BETTER, "20 points better")):
        for plays in SAME if game == "the same" else (new_people_on_each, both_orders):
            for players in (8, 12, 20):
                told = [count(plays, world, t, players, times, 7)[Verdict.HELPED] / times for t in (HITS, END)]
                cells = " | ".join(f"{100 * share:.1f} %" for share in told)
                print(f"| {plays.__name__.replace('_', ' ')} | {players} | {game} | {cells} |", flush=True)
    for players in (8, 12, 20):
        both = [picked_as_the_low_one(target, players, times, 8) for target in (HITS, END)]
        for name, key in (
            ("the low one of five", Verdict.HELPED),
            ("the same, as observed", "without what was expected"),
        ):
            cells = " | ".join(f"{100 * found[key] / times:.1f} %" for found in both)  # type: ignore[index]
            print(f"| {name} | {players} | the same | {cells} |", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
