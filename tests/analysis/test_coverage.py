"""The intervals hold the truth as often as they say: a short version of tests/bench/analysis/coverage.py.

The table of the long version is in analysis/METHODS.md. Here a cell may lie outside 93-97 % (from 93 % at 8 players)
by no more than three standard errors of the simulation itself.
"""

import numpy as np
import pytest

from analysis.stats.estimate import normal_critical
from analysis.stats.survival import kaplan_meier, log_log_limits
from tests.bench.analysis.coverage import (
    HARD,
    PLAIN,
    false_alarms,
    incidence_coverage,
    lives,
    rate_coverage,
    share_coverage,
    survival_coverage,
)

CASES = pytest.mark.parametrize("case", [PLAIN, HARD], ids=lambda c: c.name)


def fits(found: float, players: int, simulations: int) -> bool:
    slack = 3 * np.sqrt(0.95 * 0.05 / simulations)
    return found >= 0.93 - slack and (players < 12 or found <= 0.97 + slack)


@CASES
@pytest.mark.parametrize("players", [8, 12, 20])
@pytest.mark.parametrize("surviving", [0.8, 0.5, 0.2])
def test_survival_intervals_cover(case, players, surviving):
    assert fits(survival_coverage(case, players, surviving, 600, seed=2), players, 600)


@CASES
@pytest.mark.parametrize("players", [8, 12, 20])
@pytest.mark.parametrize("share", [0.8, 0.95])
def test_intervals_of_shares_cover(case, players, share):
    simulations = 500 if share < 0.9 else 120  # the profile likelihood is slow
    assert fits(share_coverage(case, players, share, simulations, seed=2), players, simulations)


@CASES
@pytest.mark.parametrize("players", [8, 12, 20])
def test_intervals_of_rates_and_incidence_cover(case, players):
    assert fits(rate_coverage(case, players, 2.0, 600, seed=2), players, 600)
    assert fits(incidence_coverage(case, players, 400, seed=2), players, 400)


@CASES
@pytest.mark.parametrize("crossover", [False, True], ids=["between", "within"])
def test_equal_builds_are_called_different_as_often_as_said(case, crossover):
    simulations = 400
    for found in false_alarms(case, 12, crossover, simulations, seed=2):
        slack = 3 * np.sqrt(0.05 * 0.95 / simulations)
        assert 0.04 - slack <= found <= 0.06 + slack


def test_taking_runs_as_independent_would_not_cover():
    """The simulation can tell: Greenwood's interval must fail here."""
    rng = np.random.default_rng(2)
    held = 0
    for _ in range(300):
        duration, died, _ = lives(HARD, 8, 0.5, rng)
        curve = kaplan_meier(duration, died)
        low, high = log_log_limits(curve.surviving, curve.greenwood, normal_critical(0.95))
        step = np.searchsorted(curve.time, 1.0, side="right") - 1
        held += low[step] <= 0.5 <= high[step]
    assert held / 300 < 0.85
