"""Things that a console logs in one and the same tick: what comes of them was worked out by hand."""

import numpy as np

from analysis.findings import survival
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
        counts = reader.ask_chosen("life_counts", Selection(GAME), by_stage=False)
        found = {f.id: f for f in survival.find(reader, Selection(GAME))}
    assert life["alive_us"].tolist() == [3_000_000, 2_000_000] * 5
    assert set(life["ended_by"].tolist()) == {"death"} and np.all(counts["died"] == 1)
    assert found["survival.curve"].facts["median"] == 2
