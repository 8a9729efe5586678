"""A short closed loop: few worlds of both families; the full tables are in analysis/tuning/MODEL.md."""

import numpy as np
import pytest

from tests.closed_loop.tuning.loop import one_world, table


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
    inside = [
        p["low95"] <= r["rounds"][0]["reached"] <= p["high95"] for p, r in zip(wide, records, strict=True)
    ]
    assert np.mean(inside) >= 0.75


def test_the_table_counts_what_is_in_it(records):
    text = table(records)
    assert text.startswith("worlds: 4")
    assert "after playtest 1" in text
