"""Giving up after failed runs, against another logistic regression."""

import numpy as np
import pytest
import statsmodels.api as sm

from analysis.models.staged_games.giving_up import MOST_FAILURES, StopPriors, fit_stops

STOPS = np.array([[12, 16, 20], [9, 10, 14]])
CHANCES = np.array([[100, 80, 60], [50, 40, 30]])


def test_with_priors_that_say_nothing_it_is_the_other_regression():
    wide = StopPriors((0.0, 100.0), (0.0, 100.0), (0.0, 100.0))
    ours = fit_stops(STOPS, CHANCES, 4000, np.random.default_rng(1), wide)
    twice, failed = np.mgrid[:2, :MOST_FAILURES].reshape(2, -1)
    stopped, of = STOPS.ravel(), CHANCES.ravel()
    theirs = sm.GLM(
        np.stack([stopped, of - stopped], axis=1),
        np.stack([np.ones(6), twice, failed], axis=1),
        family=sm.families.Binomial(),
    ).fit()
    assert ours.beta.mean(axis=0) == pytest.approx(theirs.params, abs=0.03)
    assert ours.beta.std(axis=0) == pytest.approx(theirs.bse, rel=0.06)


def test_with_nothing_seen_one_in_eight_stops_and_more_the_oftener_they_failed():
    none = np.zeros((2, MOST_FAILURES))
    ours = fit_stops(none, none, 4000, np.random.default_rng(1))
    first, second, again = (np.median(ours.chance(*how)) for how in ((1, False), (2, False), (1, True)))
    assert first == pytest.approx(0.12, abs=0.01)
    assert second / (1 - second) == pytest.approx(np.exp(0.4) * first / (1 - first), rel=0.05)
    assert again / (1 - again) == pytest.approx(np.exp(0.3) * first / (1 - first), rel=0.05)


def test_more_failures_than_are_told_apart_count_as_the_most():
    ours = fit_stops(STOPS, CHANCES, 50, np.random.default_rng(1))
    assert (ours.chance(7, False) == ours.chance(MOST_FAILURES, False)).all()
