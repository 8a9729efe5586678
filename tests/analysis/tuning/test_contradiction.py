"""Targets that exclude each other are refused, whatever they are called; those that are only in tension are not."""

import random
from dataclasses import dataclass
from itertools import permutations

import pytest

from analysis.models.targets import Outcome, Population, Target
from analysis.tuning.contradiction import _never_more, contradiction
from analysis.tuning.target_file import BadTargets, read_targets


def toml(*targets: str) -> str:
    return "".join(
        f'[[target]]\nname = "wish {number}"\n' + target.replace("; ", "\n") + "\n"
        for number, target in enumerate(targets, 1)
    )


FINISH = 'outcome = "finish"; wanted = '
STAGE = 'outcome = "reach_stage"; stage = '
WITHIN = 'outcome = "finish_within"; attempts = '
SURVIVE = 'outcome = "survive"; seconds = '
HIT = 'outcome = "hit_share"; '
LEVEL = 'outcome = "level_reached"; level = '
NEW = '; population = "new_players"'


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (FINISH + '"70 %"', FINISH + "0.3"),
        (FINISH + '"70 %"', FINISH + "0.3" + NEW),  # the first attempt is the same for both populations
        (FINISH + "0.7", FINISH + '0.3; population = "attempt"; attempt = 1'),
        (FINISH + "0.7", STAGE + "3; wanted = 0.3"),
        (FINISH + "0.7", STAGE + '3; kind = "boss"; wanted = 0.3'),
        (FINISH + "0.7", SURVIVE + "500; wanted = 0.3"),
        (FINISH + "0.7", WITHIN + "3; wanted = 0.5"),
        (WITHIN + "2; wanted = 0.7", WITHIN + "3; wanted = 0.5"),
        (WITHIN + "2; wanted = 0.7", FINISH + "0.5; attempts = 3" + NEW),
        (STAGE + "3; wanted = 0.7", STAGE + "2; wanted = 0.5"),
        (STAGE + '2; kind = "boss"; wanted = 0.7', STAGE + "2; wanted = 0.5"),
        (STAGE + "3; wanted = 0.7", STAGE + '2; kind = "boss"; wanted = 0.5'),
        (STAGE + "3; wanted = 0.7", STAGE + "2; wanted = 0.5; attempts = 4" + NEW),
        (SURVIVE + "90; wanted = 0.7", SURVIVE + "60; wanted = 0.5"),
        (LEVEL + "7; wanted = 0.7", LEVEL + "6; wanted = 0.5"),
        ('outcome = "streak"; length = 9; wanted = 0.7', 'outcome = "streak"; length = 5; wanted = 0.5'),
        ('outcome = "streak"; wanted = 20', 'outcome = "streak"; wanted = 10'),
        (HIT + 'statistic = "lower_quarter"; wanted = 0.9', HIT + "wanted = 0.7"),
        (HIT + "quantile = 0.5; wanted = 0.9", HIT + "wanted = 0.7"),
        (HIT + 'statistic = "mean"; wanted = 0.9', HIT + 'statistic = "mean"; wanted = 0.7'),
        (FINISH + '0.7; aim = "at_least"', FINISH + '0.3; aim = "at_most"'),
        (FINISH + "0.71; tolerance = 0.1", FINISH + "0.5; tolerance = 0.1"),
    ],
)
def test_the_impossible_is_refused_and_both_are_named(one, other):
    for text in (toml(one, other), toml(other, one)):
        with pytest.raises(BadTargets, match="cannot both be reached") as refused:
            read_targets(text)
        assert "wish 1" in str(refused.value) and "wish 2" in str(refused.value)
        assert "change one of them" in str(refused.value)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (FINISH + "0.3", STAGE + "3; wanted = 0.7"),
        (FINISH + "0.7; tolerance = 0.1", FINISH + "0.5; tolerance = 0.1"),  # 60 % is close enough to both
        (FINISH + '0.7; aim = "at_most"', FINISH + '0.3; aim = "at_least"'),
        (FINISH + "0.7", FINISH + '0.3; population = "attempt"; attempt = 2'),
        (WITHIN + "3; wanted = 0.3", FINISH + '0.7; population = "attempt"; attempt = 3'),  # some give up before
        (STAGE + "3; wanted = 0.7; attempts = 3" + NEW, STAGE + "2; wanted = 0.5"),
        (STAGE + "3; wanted = 0.7", SURVIVE + "60; wanted = 0.3"),
        (SURVIVE + "60; wanted = 0.7", FINISH + "0.3"),
        (HIT + "song = 1; wanted = 0.9", HIT + "song = 2; wanted = 0.5"),
        (HIT + "song = 1; wanted = 0.9", HIT + "wanted = 0.5"),
        (HIT + 'statistic = "mean"; wanted = 0.9', HIT + "wanted = 0.5"),
        (HIT + "wanted = 0.9", HIT + 'statistic = "lower_quarter"; wanted = 0.7'),
        (LEVEL + "6; wanted = 0.9", 'outcome = "level_reached"; wanted = 5'),
        (HIT + "wanted = 0.9", FINISH + "0.5"),
    ],
)
def test_of_mere_tension_nothing_is_said(one, other):
    for text in (toml(one, other), toml(other, one)):
        assert len(read_targets(text).targets) == 2


def test_the_message_says_what_is_wanted():
    wishes = toml(FINISH + '"70 %"; aim = "at_least"', STAGE + "3; wanted = 0.3")
    with pytest.raises(BadTargets) as refused:
        read_targets(wishes)
    assert str(refused.value).startswith(
        "target 1 (wish 1, at least 70 %) and target 2 (wish 2, 30 %) cannot both be reached, even within their "
        "tolerances: the first figure can never be more than the second;"
    )
    with pytest.raises(BadTargets, match=r"target 1 \(streak until .*, 20 trials\) and target 2 .*the same figure"):
        read_targets('[[target]]\noutcome = "streak"\nwanted = 20\n[[target]]\noutcome = "streak"\nwanted = 9\n')


@dataclass
class Run:
    """How far one run went."""

    place: tuple[int, bool]
    alive_s: float
    finished: bool


def figure(target: Target, players: list[list[Run]]) -> float:
    """Counted as TARGETS.md says, by nothing of the product."""

    def done(run: Run) -> bool:
        if target.outcome in (Outcome.FINISH, Outcome.FINISH_WITHIN):
            return run.finished
        if target.outcome == Outcome.SURVIVE:
            return run.finished or run.alive_s >= target.number
        return run.place >= (target.number, target.boss)

    if target.population == Population.NEW_PLAYERS:
        return sum(any(done(run) for run in runs[: target.attempts]) for runs in players) / len(players)
    there = [runs[target.attempt - 1] for runs in players if len(runs) >= target.attempt]
    return sum(done(run) for run in there) / len(there) if there else 0.0


def test_what_is_held_for_impossible_happens_in_no_playtest():
    """Random playtests: a figure that can never be more than another never is."""
    texts = [FINISH + "0.5", FINISH + "0.5; attempts = 3" + NEW]
    texts += [WITHIN + "2; wanted = 0.5", WITHIN + "3; wanted = 0.5"]
    for number, kind in ((2, "regular"), (2, "boss"), (3, "regular")):
        stage = f'{STAGE}{number}; kind = "{kind}"; wanted = 0.5'
        texts += [stage, stage + "; attempts = 2" + NEW, stage + '; population = "attempt"; attempt = 2']
    texts += [SURVIVE + "30; wanted = 0.5", SURVIVE + "60; wanted = 0.5"]
    texts += [SURVIVE + "60; wanted = 0.5; attempts = 3" + NEW]
    targets = read_targets(toml(*texts)).targets
    ordered = [(one, other) for one, other in permutations(targets, 2) if _never_more(one, other)]
    assert len(ordered) > 30
    dice = random.Random(11)
    for _ in range(300):
        players = []
        for _ in range(dice.randrange(1, 6)):
            runs = []
            for _ in range(dice.randrange(1, 5)):
                finished = dice.random() < 0.2
                place = (3, True) if finished else (dice.randrange(1, 4), dice.random() < 0.5)
                runs.append(Run(place, dice.uniform(5, 90), finished))
            players.append(runs)
        for one, other in ordered:
            assert figure(one, players) <= figure(other, players), (one.name, other.name)


def test_three_targets_of_which_two_exclude_each_other():
    texts = (STAGE + "2; wanted = 0.8", STAGE + "3; wanted = 0.2", FINISH + "0.5")
    with pytest.raises(BadTargets, match=r"target 3 \(wish 3, 50 %\) and target 2 \(wish 2, 20 %\)"):
        read_targets(toml(*texts))
    assert contradiction(read_targets(toml(*texts[:2])).targets) is None
