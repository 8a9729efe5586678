"""A lesson by its numbers: who sits where, what fits, and margins against a reference."""

from collections import Counter, defaultdict

import numpy as np
import pytest
from scipy.stats import binomtest

from analysis.tuning.lesson_hour import Part, RunTime, hour, round_minutes, share_margins

TIME = RunTime(40.0, 10.0, runs=36, players=12)


@pytest.mark.parametrize(("pairs", "wanted"), [(2, 2), (3, 4), (5, 8), (9, 7), (30, 12)])
def test_nobody_plays_the_own_game_or_one_twice_and_every_table_gets_as_many(pairs, wanted):
    held = hour(TIME, wanted, runs=2, pairs=pairs, minutes=400)
    side, played = 0, defaultdict(list)
    for step in held.steps:
        side += step.part is Part.CHANGING
        if step.part is Part.ROUND:
            for pair in range(pairs):
                played[pair, side].append((pair + step.on) % pairs)
    at = Counter(table for tables in played.values() for table in tables)
    assert all(len(set(tables)) == len(tables) and who[0] not in tables for who, tables in played.items())
    assert held.players == wanted and set(at.values()) == {wanted} and len(at) == pairs


@pytest.mark.parametrize("minutes", [10, 20, 45, 60, 90])
@pytest.mark.parametrize("pairs", [1, 5, 30])
def test_what_fits_fits_and_one_more_would_not(minutes, pairs):
    held = hour(TIME, 8, runs=3, pairs=pairs, minutes=minutes)
    assert all(one.end == two.start for one, two in zip(held.steps, held.steps[1:], strict=False))
    assert sum(step.part is Part.ROUND for step in held.steps) == held.players
    if held.players:
        assert held.steps[-1].end <= minutes
    if held.too_short:
        assert held.needed > minutes
        longer = held.steps[-1].end + held.round_min + (2 if held.players == 1 and pairs > 1 else 0)
        assert longer > minutes
        if held.shorter_runs:
            assert not hour(TIME, 8, held.shorter_runs, pairs=pairs, minutes=minutes).too_short
        assert hour(TIME, 8, held.shorter_runs + 1, pairs=pairs, minutes=minutes).too_short
    else:
        assert held.needed <= minutes


def test_a_small_class_cannot_send_more_than_it_has():
    held = hour(TIME, 12, runs=3, pairs=5, minutes=300)
    assert (held.seats, held.players, held.too_short) == (8, 8, False)
    assert hour(TIME, 12, runs=3, pairs=1, minutes=300).players == 12


def test_a_round_is_long_enough_for_nine_players_of_ten():
    rng = np.random.default_rng(4)
    playing = 45 + 3 * rng.normal(TIME.mean_s, TIME.spread_s, 20_000) + 2 * 10
    enough = 60 * round_minutes(TIME, 3)
    assert np.mean(playing <= enough) >= 0.9 > np.mean(playing <= enough - 30)
    assert round_minutes(RunTime(40.0), 3) == 4.0  # 45 s + 3 x 50 s + 20 s, to the half minute
    assert round_minutes(TIME, 3, builds=2, flashed=2) > 2 * round_minutes(TIME, 3) - 1


def test_margins_are_those_of_a_reference():
    for players, margin in share_margins((6, 10, 40)):
        low, high = binomtest(players // 2, players).proportion_ci(method="wilson")
        assert margin == pytest.approx((high - low) / 2)


@pytest.mark.parametrize("wrong", [{"pairs": 0}, {"pairs": 126}, {"minutes": 0}, {"minutes": 481}, {"runs": 0}])
def test_a_lesson_that_cannot_be_is_refused(wrong):
    with pytest.raises(ValueError, match="a lesson needs"):
        hour(**{"time": TIME, "wanted": 8, "runs": 3} | wrong)
