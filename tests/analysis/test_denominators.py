"""What counts go over: whose time, which units, which runs. The answers were worked out by hand."""

import numpy as np
import pytest

from analysis.findings import deaths, games, players
from analysis.selection import Selection
from tests.analysis.playtest import GAME, Playtest, reader_of


def test_the_map_counts_the_time_of_players_who_never_died(tmp_path):
    test = Playtest()
    for who in range(1, 7):
        test.run(who, [10.0, 6.0])
    for who in range(7, 13):
        test.run(who, [20.0], ending=0)
    with test.study(tmp_path) as study:
        reader = reader_of(study)
        found = {f.id: f for f in deaths.find(reader, Selection(GAME))}
        alive_s = reader.ask_chosen("run_ends", Selection(GAME))["alive_us"].sum() / 1e6
    cells = found["deaths.places"].tables["cells"]
    # All but the time before the first position of each of the 18 lives, 200 ms.
    assert alive_s == 216 and cells["seconds"].sum() == pytest.approx(216 - 18 * 0.2)
    died = np.flatnonzero(cells["deaths"])
    assert cells["rate_per_s"].to_numpy()[died] == pytest.approx(12 / cells["seconds"].to_numpy()[died])


@pytest.mark.parametrize(("unit", "ms"), [("ms", 800), ("us", 0.8), ("ticks", 800)])
def test_a_drop_interval_may_be_declared_in_any_unit_of_time(unit, ms, tmp_path):
    test = Playtest()
    for who in range(1, 5):
        test.event("begin", 1000, who=who, lv=1)
        test.event("faster", 9000, lv=2)
        test.event("died", 3000 + 300 * who, left=0)
        test.event("over", how=1)
        test.event("begin", 1000, who=who, lv=1)
        test.event("died", 9000, left=0)
        test.event("over", how=1)
    tunables = [
        {"name": f"drop_{level}", "role": "drop_interval", "value": value, "unit": unit, "scope": {"level": level}}
        for level, value in ((1, 800), (2, 400))
    ]
    with test.study(tmp_path, ("begin", "over", "died", "faster", "piece"), tunables) as study:
        found = {f.id: f for f in games.find(reader_of(study), Selection(GAME))}
    levels = found["genres.levels"]
    assert levels.tables["levels"]["interval_ms"].tolist() == [pytest.approx(ms), pytest.approx(ms / 2)]
    # Each player: 1 death in 18 s at level 1, 1 in 3 s and some at level 2.
    assert levels.estimate.value == pytest.approx(18 / 3.75, rel=0.02)


def test_slow_frames_are_held_against_each_players_own_time_alive(tmp_path):
    """P01's console is slow and P01 dies often, but never after a slow frame more than by chance; P02's is sound."""
    test = Playtest()
    test.event("begin", 1000, who=1, left=5)
    for n in range(5):
        test.event("slow", 1000, ms=50)
        test.event("slow", 1000, ms=50)
        if n:
            test.event("died", 100, left=5 - n)
        else:
            test.event("died", 900, left=5)
        test.event("slow", 600, ms=90)  # while dead: touches the first moment of the next life only
        test.event("alive", 150)
    test.event("over", 1000, how=0)
    test.event("begin", 1000, who=2)
    test.event("died", 50_000)
    test.event("over", how=1)
    with test.study(tmp_path) as study:
        found = {f.id: f for f in players.find(reader_of(study), Selection(GAME))}["console.slow_frames"]
    table = found.tables["players"]
    # P01: lives of 2.9 and 4 x 2.1 s and a last second. After each slow frame 250 ms, or until the death; of the one
    # before a respawn, 100 ms are left.
    alive, touched = 2.9 + 4 * 2.1 + 1, 5 * 0.25 + 0.25 + 4 * 0.1 + 5 * 0.1
    assert table["alive_s"].tolist() == pytest.approx([alive, 50])
    assert table["touched_s"].tolist() == pytest.approx([touched, 0])
    assert table["touched_deaths"].tolist() == [4, 0] and table["deaths"].tolist() == [5, 1]
    assert found.facts["expected_share"] == pytest.approx((5 * touched / alive + 1 * 0) / 6)
