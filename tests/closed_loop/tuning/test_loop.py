"""A short closed loop: few worlds of both families; the full tables are in MEASURED.md."""

import numpy as np
import pytest

from tests.closed_loop.tuning.loop import one_world
from tests.closed_loop.tuning.table import table


@pytest.fixture(scope="module")
def records():
    """Four worlds that start at least 10 points from their target, the first two of each family."""
    found = []
    for family in ("hazard", "volley"):
        seed, own = 500, []
        while len(own) < 2:
            record = one_world(family, seed, rounds=1, least_start=0.10)
            seed += 1
            if record is not None:
                own.append(record)
        found += own
    return found


def test_proposals_bring_the_worlds_nearer_to_their_targets(records):
    """Four worlds tell only gross errors: a proposal that goes the wrong way, or none at all."""
    start = np.array([r["start_miss"] for r in records])
    miss = np.array([r["rounds"][0]["miss"] for r in records])
    assert start.mean() > 0.12
    assert miss.mean() < 0.7 * start.mean()
    assert np.mean(miss < start) >= 0.75
    advised = [r["rounds"][0]["advice"] == "change" for r in records]
    assert np.mean(advised) >= 0.5
    wide = [r["rounds"][0]["said"] for r in records]
    inside = [p["low95"] <= r["rounds"][0]["reached"] <= p["high95"] for p, r in zip(wide, records, strict=True)]
    assert np.mean(inside) >= 0.75


def test_the_table_counts_what_is_in_it(records):
    text = table(records)
    assert text.startswith("worlds: 4")
    assert "after playtest 1" in text
    assert "observed_ratio, first playtest" in text and "pooled_hazards, first playtest" in text


def _record(start, miss, low, high, chance, advice="change"):
    """A world at 0.5 + start that wants 0.5 and came to 0.5 + miss."""
    said = {"value": 0.5, "low80": low, "high80": high, "low95": 0.0, "high95": 1.0}
    part = {
        "before": 0.5 + start,
        "reached": 0.5 + miss,
        "miss": miss,
        "advice": advice,
        "chance_better": chance,
        "changes": [("a", 1, 2)],
        "now_said": said,
        "said": said,
        "seconds": 1.0,
        "policies": [["start_lives", 0.10, 0.13, chance]],
        "plain": {"observed_ratio": miss + 0.03},
    }
    return {"wanted": 0.5, "start_miss": start, "rounds": [part]}


def test_the_table_of_hand_made_worlds():
    """Two got better, one of them outside its interval; one got worse by 6 points; one was left alone."""
    text = table(
        [
            _record(0.20, 0.02, 0.45, 0.55, 0.92),
            _record(0.10, 0.06, 0.45, 0.55, 0.94),
            _record(0.02, 0.08, 0.40, 0.60, 0.85),
            _record(0.04, 0.08, 0.40, 0.60, 0.60, advice="not_yet"),
        ]
    )
    assert "leave as is: mean miss 9.0" in text
    assert "mean miss 6.0" in text
    assert "start > 15: 1 worlds, 20.0 -> 2.0" in text
    assert "   said 80 % covers 75 % (3 of 4" in text
    assert "worse by over 2 points 33 % (1 of 3" in text
    assert "recommended 75 % (3 of 4" in text
    assert "chance said 93 %, found 100 % (2 of 2" in text
    assert "chance said 85 %, found 0 % (0 of 1" in text
    assert "observed_ratio, first playtest: mean miss 9.0 (se 1.2), 3.0 (se 0.0) more than the model" in text
    assert "start_lives effect: 4 cases, true size 13.0, error -3.0 (se 0.0), absolute 3.0" in text
