"""Findings on genres and on the console against playtests whose answer is known by hand."""

import numpy as np
import pytest

from analysis.findings import games, players, survival
from analysis.selection import Selection
from tests.analysis.playtest import GAME, Playtest, reader_of


def by_id(found):
    return {finding.id: finding for finding in found}


def test_one_shot_streaks_aim_and_intervals(tmp_path):
    test = Playtest()
    rng = np.random.default_rng(1)
    for who in range(1, 11):
        for _ in range(3):
            test.event("begin", 1000, who=who)
            for shot in range(12):
                speed = 20 + 10 * shot
                test.event(
                    "puff",
                    900 + int(rng.integers(0, 200)),
                    ok=int(rng.random() < 1 / (1 + np.exp(0.05 * (speed - 90)))),
                    fast=speed,
                )
            test.event("over", 100, how=1)
    with test.study(tmp_path) as study:
        found = by_id(games.find(reader_of(study), Selection(GAME)))
    aim = found["genres.aim"].facts
    assert aim["slope_low"] < -0.05 < aim["slope_high"] and aim["half_low"] < 90 < aim["half_high"]
    assert sum(found["genres.aim"].tables["speeds"]["shots"]) == 360
    hazard = found["genres.streaks"].tables["hazard"]
    misses = 360 - sum(
        s * n
        for s, n in zip(
            found["genres.aim"].tables["speeds"]["share"], found["genres.aim"].tables["speeds"]["shots"], strict=True
        )
    )
    assert sum(hazard["misses"]) == pytest.approx(misses)
    steady = found["genres.intervals"]
    # Uniform steps of 900 to 1099 ms: standard deviation 57.7 of 1,000.
    assert steady.estimate.value == pytest.approx(0.0577, rel=0.1)


def test_falling_blocks_levels_overflows_waits_and_pace(tmp_path):
    test = Playtest()
    for who in range(1, 7):
        test.event("begin", 1000, who=who, lv=1)
        test.event("enter", stage=1)
        for n in range(20):
            if n == 10:
                test.event("faster", lv=2)
            test.event("piece", 100, shape=n % 4, lv=1 + n // 10)
            # The third column grows towards the top of the screen.
            test.event(
                "rest",
                900 if n < 10 else 400,
                x=24 if n % 4 == 2 else 8,
                y=max(100 - 5 * n, 0) if n % 4 == 2 else 110,
                shape=n % 4,
            )
        test.event("died", x=24, y=0)
        test.event("over", how=1)
    tunables = [
        {"name": f"drop_{lv}", "role": "drop_interval", "value": ms, "unit": "ms", "scope": {"level": lv}}
        for lv, ms in ((1, 400), (2, 200))
    ]
    with test.study(tmp_path, tunables=tunables) as study:
        found = by_id(games.find(reader_of(study), Selection(GAME)))
    levels = found["genres.levels"].tables["levels"]
    assert (
        list(levels["level"]) == [1, 2]
        and list(levels["interval_ms"]) == [400, 200]
        and list(levels["deaths"]) == [0, 6]
    )
    assert list(levels["alive_s"]) == pytest.approx([60.0, 30.0])
    columns = found["genres.overflow"].tables["columns"]
    assert columns["overflows"][list(columns["x_px"]).index(24)] == 6 and sum(columns["deaths"]) == 6
    waits = found["genres.longest_wait"].tables["pieces"]
    assert list(waits["longest"]) == [3, 3, 3, 3] and sum(waits["pieces"]) == 120
    assert found["genres.pace"].tables["levels"]["seconds"].tolist() == pytest.approx([0.9, 0.4])


def test_bosses_and_tiers_within_players(tmp_path):
    test = Playtest()
    for who in range(1, 9):
        test.event("begin", 1000, who=who, left=9, tier=1)
        # Some last longer at the boss than others before it: otherwise no finite ratio of risks fits best.
        for boss, gaps in ((0, (6_000, 14_000)), (1, 3 * (2_000, 8_000))):
            test.event("enter", stage=1, boss=boss, left=9, tier=1)
            for gap in gaps:
                test.event("died", gap, x=5, y=5, left=9, tier=1)
                test.event("alive", left=9, tier=1)
            test.event("leave", done=1)
        test.event("over", how=0)
    with test.study(tmp_path) as study:
        found = by_id(games.find(reader_of(study), Selection(GAME)))
        funnel = by_id(survival.find(reader_of(study), Selection(GAME)))["survival.funnel"].tables["segments"]
        risks = by_id(survival.find(reader_of(study), Selection(GAME)))["survival.risks"].tables["factors"]
    # Twelve a minute at the boss, six before it.
    assert found["genres.boss"].facts["ratio"] == pytest.approx(2.0)
    assert found["genres.boss"].tables["kinds"]["boss_rate"].tolist() == pytest.approx([12.0])
    assert (
        list(funnel["name"]) == ["stage 1", "stage 1 boss"]
        and list(funnel["reach"]) == [1, 1]
        and list(funnel["cleared"]) == [8, 8]
    )
    assert list(funnel["deaths_per_visit"]) == [2, 6] and "boss" in list(risks["factor"])


@pytest.mark.parametrize("came", [2, 4, 10])
def test_few_who_came_to_a_boss_do_not_tell_of_bosses(tmp_path, came):
    """Ten played, `came` of them died at a boss too, twice as often as before it, and all much alike."""
    test = Playtest()
    for who in range(1, 11):
        test.event("begin", 1000, who=who, left=9, tier=1)
        for boss, gaps in ((0, (6_000, 14_000 + 100 * who)), (1, (2_000, 8_000, 4_900 + 10 * who)))[
            : 1 + (who <= came)
        ]:
            test.event("enter", stage=1, boss=boss, left=9, tier=1)
            for gap in gaps:
                test.event("died", gap, x=5, y=5, left=9, tier=1)
                test.event("alive", left=9, tier=1)
            test.event("leave", done=1)
        test.event("over", how=0)
    with test.study(tmp_path) as study:
        boss = by_id(games.find(reader_of(study), Selection(GAME)))["genres.boss"]
        risks = by_id(survival.find(reader_of(study), Selection(GAME))).get("survival.risks")
    assert boss.players == 10 and boss.estimate.players == came
    assert boss.certainty == {2: "too little to tell", 4: "an indication", 10: "solid"}[came]
    assert ("Too few" in boss.headline) == ("Only 2 players" in boss.sentence) == (came == 2)
    # No closer than what was counted: of three deaths each against two.
    least = 1.96 * np.sqrt(1 / (3 * came) + 1 / (2 * came))
    assert np.log(boss.estimate.high / boss.estimate.value) >= 0.95 * least
    assert ("boss" in list(risks.tables["factors"]["factor"]) if risks else False) == (came > 2)


def test_a_funnel_counts_who_is_lost_where(tmp_path):
    test = Playtest()
    for who in range(1, 11):
        test.event("begin", 1000, who=who, left=1)
        test.event("enter", stage=1)
        if who <= 4:
            test.event("died", 3000, x=1, y=1)
            test.event("over", how=1)
            continue
        test.event("leave", 3000, done=1)
        test.event("enter", stage=2)
        if who <= 8:
            test.event("over", 2000, how=2)
        else:
            test.event("leave", 2000, done=1)
            test.event("over", how=0)
    with test.study(tmp_path) as study:
        found = by_id(survival.find(reader_of(study), Selection(GAME)))
    rows = found["survival.funnel"].tables["segments"]
    assert list(rows["entered"]) == [10, 6] and list(rows["died_out"]) == [4, 0] and list(rows["quit"]) == [0, 4]
    assert list(rows["reach"]) == [1.0, 0.6] and list(rows["clear"]) == [0.6, 1.0]
    progress = found["survival.on_progress"].tables["curve"]
    assert progress["surviving"].iloc[-1] == pytest.approx(0.6), "those who gave up in stage 2 are not counted as dead"


def test_a_stage_given_up_right_after_a_death_was_not_got_through(tmp_path):
    """Of ten visits four end by giving up: two 2 s after a death, one 30 s after it, one without any."""
    test = Playtest()
    for who in range(1, 11):
        test.event("begin", 1000, who=who, left=3)
        test.event("enter", stage=1)
        if who <= 3:
            test.event("died", 3000, x=1, y=1)
            test.event("alive", 1000)
            test.event("over", 1000 if who <= 2 else 29_000, how=2)
        elif who == 4:
            test.event("over", 20_000, how=2)
        else:
            test.event("leave", 3000, done=1)
            test.event("over", how=0)
    with test.study(tmp_path) as study:
        found = by_id(survival.find(reader_of(study), Selection(GAME)))["survival.funnel"]
    row = found.tables["segments"].iloc[0]
    assert (row["quit"], row["quit_at_death"], row["cleared"]) == (4, 2, 6)
    assert row["clear"] == pytest.approx(6 / 8) and row["clear_low"] < 6 / 8 < row["clear_high"]
    assert "75 %" in found.sentence and "8 visits" in found.sentence and "2 given up" in found.sentence


def test_presses_that_bounce_and_frames_that_kill(tmp_path):
    test = Playtest()
    for who in range(1, 9):
        test.event("begin", 1000, who=who, left=2)
        for n in range(20):
            test.event("push", 300, lane=1)
            if n % 5 == 0:
                test.event("push", 6, lane=1)
        test.event("slow", 100, ms=60)
        test.event("died", 100, x=9, y=9, left=1)
        test.event("died", 9000, x=9, y=9, left=0)
        test.event("over", how=1)
    with test.study(tmp_path) as study:
        found = by_id(players.find(reader_of(study), Selection(GAME)))
    assert found["console.bounce"].estimate.value == pytest.approx(4 / 24)
    slow = found["console.slow_frames"]
    assert slow.estimate.value == pytest.approx(0.5) and slow.facts["expected_share"] < 0.03


def test_shots_are_counted_within_the_life_and_the_chosen_stage(tmp_path):
    test = Playtest()
    for who in range(1, 4):
        test.event("begin", 1000, who=who, left=2)
        for stage in (1, 2):
            test.event("enter", stage=stage)
            for _ in range(stage * 3):
                test.event("shoot", 200)
            if stage == 1:
                test.event("leave", 100, done=1)
        test.event("died", 100, x=1, y=1, left=1)
        test.event("alive", 300)
        test.event("shoot", 100)
        test.event("died", 100, x=1, y=1)
        test.event("over", how=1)
    with test.study(tmp_path) as study:
        whole = by_id(survival.find(reader_of(study), Selection(GAME)))["survival.on_shots"].tables["curve"]
        second = by_id(survival.find(reader_of(study), Selection(GAME, stage=2)))["survival.on_shots"].tables["curve"]
        first = by_id(survival.find(reader_of(study), Selection(GAME, stage=1)))["survival.on_shots"].tables["curve"]
    assert whole["time"].tolist() == [0, 1, 9] and whole["surviving"].tolist() == [1, 0.5, 0]
    assert second["time"].tolist() == [0, 1, 6]
    assert first["time"].tolist() == [0, 3] and first["surviving"].tolist() == [1, 1]


def test_a_game_that_logs_no_ends_of_stages_still_has_a_funnel(tmp_path):
    test = Playtest()
    for who in range(1, 5):
        test.event("begin", 1000, who=who, left=1)
        test.event("enter", stage=1)
        if who > 1:
            test.event("enter", 2000, stage=2)
        test.event("died", 2000, x=1, y=1)
        test.event("over", how=1)
    with test.study(tmp_path, kinds=("begin", "over", "enter", "died")) as study:
        rows = by_id(survival.find(reader_of(study), Selection(GAME)))["survival.funnel"].tables["segments"]
    assert list(rows["cleared"]) == [3, 0] and list(rows["died_out"]) == [1, 3] and list(rows["reach"]) == [1.0, 0.75]
