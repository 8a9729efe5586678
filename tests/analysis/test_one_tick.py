"""Things that a console logs in one and the same tick: what comes of them was worked out by hand."""

import numpy as np

from analysis.findings import games, survival
from analysis.selection import Selection
from tests.analysis.playtest import GAME, Playtest, reader_of


def test_a_death_counts_though_the_tier_went_or_the_stage_ended_in_its_tick(tmp_path):
    test = Playtest()
    for who in range(1, 6):
        test.event("begin", 1000, who=who, left=2, tier=1)
        test.event("enter", stage=1, left=2, tier=1)
        test.event("alive", 3000, left=2, tier=0)
        test.event("died", left=1)
        test.event("alive", 500, left=1)
        test.event("leave", 2000, done=1)
        test.event("died", left=0)
        test.event("over", how=1)
    with test.study(tmp_path) as study:
        reader = reader_of(study)
        life = reader.ask_chosen("lives", Selection(GAME), by_stage=False)
        counts = reader.ask_chosen("life_shots", Selection(GAME))
        found = {f.id: f for f in survival.find(reader, Selection(GAME))}
    assert life["alive_us"].tolist() == [3_000_000, 2_000_000] * 5
    assert set(life["ended_by"].tolist()) == {"death"} and np.all(counts["died"][~counts["by_stage"]])
    assert found["survival.curve"].facts["median"] == 2


def test_what_rests_in_the_tick_of_the_next_piece_is_the_piece_before(tmp_path):
    test = Playtest()
    for who in (1, 2, 3):
        test.event("begin", 1000, who=who, lv=1)
        for i in range(10):
            test.event("piece", shape=i % 3, lv=1)
            test.event("rest", 2000, x=8 * i, y=120 - 8 * i, shape=i % 3)
        test.event("died", left=0)
        test.event("over", how=1)
    with test.study(tmp_path, kinds=("begin", "over", "died", "piece", "rest")) as study:
        found = {f.id: f for f in games.find(reader_of(study), Selection(GAME))}
    assert found["genres.pace"].tables["levels"]["pieces"].tolist() == [30]
    assert found["genres.pace"].estimate.value == 2
    tops = found["genres.overflow"].tables["columns"]
    assert (
        dict(zip(tops["x_px"], tops["overflows"], strict=True))[72] == 3
    )  # the last one's place, not the one before's


def test_a_death_at_the_moment_of_respawn_is_in_the_first_stretch_of_the_hazard(tmp_path):
    """Two deaths in one tick, in a game without spawns: the second life lasted no time at all."""
    test = Playtest()
    for who in (1, 2, 3):
        test.event("begin", 1000, who=who, left=3)
        for after_ms, left in ((4000, 2), (0, 1), (2000, 0)):
            test.event("died", after_ms, left=left)
        test.event("over", how=1)
    with test.study(tmp_path, kinds=("begin", "over", "died")) as study:
        found = {f.id: f for f in survival.find(reader_of(study), Selection(GAME))}
    hazard = found["survival.hazard"].tables["hazard"]
    assert hazard["deaths"].sum() == 9 and hazard["exposure_s"].sum() == 18
