"""Speed that the pages rely on, as ratios measured side by side (long version: tests/bench/analysis/speed.py)."""

from tests.bench.analysis.speed import by_player_ratio, kaplan_meier_ratio


def test_the_interval_by_player_is_far_faster_than_a_bootstrap_with_lifelines():
    assert by_player_ratio(12, 4, bootstrap_runs=5) >= 50
    assert by_player_ratio(2000, 50, bootstrap_runs=1) >= 40


def test_kaplan_meier_keeps_up_with_scipy():
    assert kaplan_meier_ratio(20_000) <= 3
