"""What counts go over: whose time, which units, which runs. The answers were worked out by hand."""

import numpy as np
import pytest

from analysis.findings import deaths, genres
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
    assert cells["rate_per_s"][died] == pytest.approx(12 / cells["seconds"][died])


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
        {
            "name": f"drop_{level}",
            "role": "drop_interval",
            "value": value,
            "unit": unit,
            "scope": {"level": level},
        }
        for level, value in ((1, 800), (2, 400))
    ]
    with test.study(tmp_path, ("begin", "over", "died", "faster", "piece"), tunables) as study:
        found = {f.id: f for f in genres.find(reader_of(study), Selection(GAME))}
    levels = found["genres.levels"]
    assert levels.tables["levels"]["interval_ms"] == [pytest.approx(ms), pytest.approx(ms / 2)]
    # Each player: 1 death in 18 s at level 1, 1 in 3 s and some at level 2.
    assert levels.estimate.value == pytest.approx(18 / 3.75, rel=0.02)
