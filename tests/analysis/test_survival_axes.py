"""Survival over shots, stages, lives and attempts, grouped; against playtests counted by hand."""

import numpy as np
import pytest

from analysis.findings import survival
from analysis.findings.grouping import group_names
from analysis.findings.survival.curves import median_estimate
from analysis.selection import Selection
from analysis.stats.lifetimes.clustered import survival_by_player
from tests.analysis.playtest import GAME, Playtest, reader_of


def grouped_rows(finding, by):
    table = finding.tables["groups"]
    mine = [i for i, key in enumerate(table["by"]) if key == by]
    return {name: [column[i] for i in mine] for name, column in table.items()}


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """Eight players, two runs each. Stage 1 costs one life after 3 shots; stage 2 two of 5 shots (newcomers: 2)."""
    test = Playtest()
    for attempt in (1, 2):
        for who in range(1, 9):
            new = who <= 4
            test.event("begin", 1000, who=who, left=4, new=int(new and attempt == 1))
            for stage, deaths, shots in ((1, 1, 3), (2, 2, 2 if new else 5)):
                test.event("enter", stage=stage, left=4)
                for _ in range(deaths):
                    for _ in range(shots):
                        test.event("shoot", 100)
                    test.event("died", 300, x=1, y=1)
                    test.event("alive", 100)
                test.event("shoot", 100)
                test.event("leave", 100, done=int(stage == 1 or attempt == 2))
            test.event("over", 100, how=0 if attempt == 2 and who != 8 else 2)
    with test.study(tmp_path_factory.mktemp("axes")) as study:
        # The player groups come from outside the log.
        study.connection.execute(
            "INSERT INTO players SELECT DISTINCT player, "
            "CASE WHEN player < 'P05' THEN 'new' ELSE 'old' END, NULL, NULL "
            "FROM runs"
        )
        yield {one.id: one for one in survival.find(reader_of(study), Selection(GAME))}


def test_shots_are_grouped_by_stage_from_where_the_stage_is_entered(found):
    rows = grouped_rows(found["survival.on_shots"], "stage")
    assert list(rows["group"]) == ["stage 1", "stage 2"]
    # Stage 1: 16 deaths and 16 lives that go on with one shot; stage 2: 32 deaths, 16 cut short.
    assert list(rows["units"]) == [32, 48] and list(rows["events"]) == [16, 32] and list(rows["players"]) == [8, 8]
    assert list(rows["median"]) == [3, 2]


def test_groups_of_players_and_newcomers_are_told_apart_on_every_axis(found):
    rows = grouped_rows(found["survival.on_shots"], "group")
    assert list(rows["group"]) == ["new", "old"] and list(rows["players"]) == [4, 4]
    # Of 32 lives each: ones of 3 shots, then of 1 + 2 or 1 + 5 (begun in stage 1), of 2 or 5, and of 1 (censored).
    assert list(rows["median"]) == [3, 5] and list(rows["events"]) == [24, 24]
    lives = grouped_rows(found["survival.on_lives"], "stage")
    assert list(lives["group"]) == ["stage 1", "stage 2"] and list(lives["events"]) == [16, 8]
    assert lives["median"][0] == 2
    attempts = grouped_rows(found["survival.on_attempts"], "group")
    assert list(attempts["units"]) == [4, 4] and list(attempts["events"]) == [4, 3]
    assert list(attempts["median"]) == [2, 2]
    newcomers = grouped_rows(found["survival.on_progress"], "attempt")
    assert list(newcomers["group"]) == ["attempt 1", "attempt 2"] and list(newcomers["events"]) == [0, 0]


def test_attempts_by_stage_are_the_times_it_was_entered_until_first_cleared(found):
    rows = grouped_rows(found["survival.on_attempts"], "stage")
    # Stage 1 is cleared at the first try, stage 2 at the second, by the player who never finished a run too.
    assert list(rows["group"]) == ["stage 1", "stage 2"] and list(rows["units"]) == [8, 8] == list(rows["events"])
    assert (
        list(rows["median"]) == [1, 2] and found["survival.on_attempts"].facts["stage_event"] == "it is first cleared"
    )


def test_tries_after_the_first_clearing_do_not_count_and_stages_never_cleared_are_censored(tmp_path):
    test = Playtest()
    # Who -> how the tries at stage 1 ended, a run each; stage 2 is entered after every clearing and never cleared.
    tries = {1: (0, 0, 1, 0), 2: (1, 1), 3: (0, 0), 4: (1,)}
    for who, ends in tries.items():
        for done in ends:
            test.event("begin", 1000, who=who, left=1)
            test.event("enter", stage=1)
            if done:
                test.event("leave", 100, done=1)
                test.event("enter", stage=2)
            test.event("died", 500, x=1, y=1)
            test.event("over", 100, how=1)
    with test.study(tmp_path) as study:
        found = {one.id: one for one in survival.find(reader_of(study), Selection(GAME))}
    attempts = found["survival.on_attempts"]
    rows = grouped_rows(attempts, "stage")
    assert list(rows["units"]) == [4, 3] and list(rows["events"]) == [3, 0] and list(rows["players"]) == [4, 3]
    curve = attempts.tables["curves"]
    first = [
        (time, surviving)
        for time, surviving, group in zip(curve["time"], curve["surviving"], curve["group"], strict=True)
        if group == "stage 1"
    ]
    # At try 1 two of four clear it; P03, who gave up after two tries, is censored; P01 clears it at the third.
    assert first == [(0, 1.0), (1, 0.5), (3, 0.0)]
    # Nobody finished the game: the curve of all says so.
    assert attempts.sentence.startswith("In none of 4 players was a first finish seen")


@pytest.mark.parametrize(("finishers", "told"), [(1, False), (4, False), (5, True)])
def test_a_median_that_one_player_came_to_is_not_named(finishers, told, tmp_path):
    """Twelve players give up after one or two runs. Those who go on to the ninth finish there: the curve falls to 0."""
    test = Playtest()
    for who in range(1, 13):
        last = 9 if who <= finishers else 1 + who % 2
        for attempt in range(1, last + 1):
            test.run(who, [2.0], ending=0 if attempt == 9 else 1, sampled=False)
    with test.study(tmp_path) as study:
        found = {one.id: one for one in survival.find(reader_of(study), Selection(GAME))}["survival.on_attempts"]
    assert (found.facts["median"] == 9) is told
    assert found.sentence.startswith("Half of 12 players" if told else "Fewer than half of 12 players")


def test_a_curve_that_falls_to_a_half_by_the_end_of_few_names_no_median():
    """Two of ten end at 1, two more at 5 when three are left: 4 of 10 ended, and the curve says 27 % went on."""
    duration, died = np.r_[1, 1, [2] * 5, 5, 5, 6], np.r_[1, 1, [0] * 5, 1, 1, 0].astype(bool)
    curve = survival_by_player(duration, died, np.arange(10))
    assert curve.median().value == 5 and median_estimate(curve, "s").value is None
    # The same with one life more a player seen to end: half of all ended by then, which is no guess.
    again = survival_by_player(np.r_[duration, [1] * 10], np.r_[died, np.ones(10, bool)], np.tile(np.arange(10), 2))
    assert median_estimate(again, "s").value == 1


def test_the_interval_of_a_group_is_the_one_by_its_players(found):
    table = found["survival.on_shots"].tables["curves"]
    mine = [
        i
        for i, (by, group) in enumerate(zip(table["by"], table["group"], strict=True))
        if by == "stage" and group == "stage 1"
    ]
    duration = np.tile([3.0, 1.0], 16)
    player = np.repeat(np.tile(np.arange(8), 2), 2)
    curve = survival_by_player(duration, np.tile([True, False], 16), player)
    at = mine[1]
    assert table["time"][at] == 3 and table["at_risk"][at] == 16
    assert table["surviving"][at] == curve.surviving[0] == 0
    assert (table["low"][at], table["high"][at]) == pytest.approx((curve.low[0], curve.high[0]))


def test_what_is_unknown_is_in_no_group():
    rows = {
        "player_group": np.array(["a", None], object),
        "first_time": np.array([1.0, np.nan]),
        "attempt": np.array([1, 9]),
    }
    assert group_names(rows, "group") == ["a", None]
    assert group_names(rows, "first_time") == ["first-time players", None]
    assert group_names(rows, "attempt") == ["attempt 1", "attempt 4 and later"]
    assert group_names(rows, "stage") == [None, None]


@pytest.mark.parametrize(("players", "warned"), [(8, True), (13, False)])
def test_the_end_of_the_curve_is_warned_of_with_few_players(players, warned, tmp_path):
    test = Playtest()
    for who in range(1, players + 1):
        test.run(who, [1.0 + who, 2.0 + who], sampled=False)
    with test.study(tmp_path) as study:
        curve = next(f for f in survival.find(reader_of(study), Selection(GAME)) if f.id == "survival.curve")
    assert any("Do not read it off" in warning for warning in curve.warnings) == warned
