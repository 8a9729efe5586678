"""The loop in short: a few worlds whole, from log to replay. The full table is in analysis/TIMING.md."""

import numpy as np

from tests.closed_loop.rhythm.loop import MEDIAN, QUARTER, playtest, turn
from tests.closed_loop.rhythm.others import one_world
from tests.closed_loop.rhythm.world import draw_world, hit_share_by_setting


def test_new_players_of_the_world_come_close_to_the_target() -> None:
    """Full run: 2 to 3 points, leaving things as they are 22. Three worlds may have bad luck with their players."""
    misses, left, covered = [], [], []
    for seed in range(3):
        rng = np.random.default_rng(seed)
        world = draw_world(rng)
        one = turn(world, playtest(world, 12, rng), (MEDIAN,), 150, seed)
        misses.append(abs(one.reached[0] - 0.85))
        left.append(abs(one.was[0] - 0.85))
        covered.append(one.low95[0] - 0.02 <= one.reached[0] <= one.high95[0] + 0.02)
        assert all((c.proposed - c.low) % c.step == 0 for c in one.proposal.changes)
    assert np.mean(misses) < 0.05
    assert np.mean(misses) < np.mean(left) / 2
    assert np.sum(covered) >= 2


def test_two_targets_share_the_miss_between_them() -> None:
    rng = np.random.default_rng(10)
    world = draw_world(rng)
    one = turn(world, playtest(world, 12, rng), (MEDIAN, QUARTER), 150, 10)
    assert MEDIAN.miss(float(one.reached[0])) < 0.12
    assert QUARTER.miss(float(one.reached[1])) < 0.12


def test_the_replay_itself_answers_to_the_window() -> None:
    world = draw_world(np.random.default_rng(2))
    shares = hit_share_by_setting(world, [(20, 20, 0), (60, 60, 0), (200, 200, 0)], 60, 1)
    assert np.median(shares[0]) < np.median(shares[1]) < np.median(shares[2])


def test_a_world_of_another_kind_lies_in_what_is_said_with_all_presses_and_with_hits_only() -> None:
    """Far presses, uneven runs, fast notes harder: a world that the model does not know (all of them: TIMING.md)."""
    records = one_world(160001)
    assert {(r["logged"], r["cut"]) for r in records} == {("all presses", False), ("hits only", True)}
    assert all(r["said"][0] - 0.02 <= r["new"][1] <= r["said"][4] + 0.02 for r in records)
    assert all(r["effective"] > 15 for r in records)
    assert np.mean([abs(r["new"][1] - r["said"][2]) for r in records]) < 0.05
