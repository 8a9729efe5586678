"""What draws are worth, against what is known by heart; and that too few are told."""

import numpy as np
import pytest
from scipy import stats

from analysis.models.data import Build, Tunable
from analysis.models.fitted import Fitted
from analysis.models.fitting.sampling import (
    FEWEST_EFFECTIVE,
    Sampling,
    effective_of_chain,
    effective_of_weights,
    importance,
    systematic,
    t_draws,
)
from analysis.models.observed import Observed
from analysis.models.targets import Changeable, Outcome, Target
from analysis.tuning.ranking import propose
from ingest.vocabulary import Recruitment, TunableRole


def test_equal_weights_are_worth_all_draws_and_one_alone_is_worth_one():
    assert effective_of_weights(np.full(40, 1 / 40)) == pytest.approx(40)
    assert effective_of_weights(np.eye(40)[3]) == pytest.approx(1)
    assert effective_of_weights(np.array([0.5, 0.5, 0, 0])) == pytest.approx(2)


@pytest.mark.parametrize("carry", [0.0, 0.5, 0.9])
def test_a_chain_that_remembers_is_worth_less(carry):
    """An autoregression of first order is worth n (1 - carry) / (1 + carry) draws."""
    rng, turns = np.random.default_rng(4), 20_000
    chain = np.empty(turns)
    chain[0] = rng.standard_normal()
    for n in range(1, turns):
        chain[n] = carry * chain[n - 1] + np.sqrt(1 - carry**2) * rng.standard_normal()
    expected = turns * (1 - carry) / (1 + carry)
    assert effective_of_chain(chain[:, None]) == pytest.approx(expected, rel=0.15)
    # Of several quantities the worst counts; one that stands still says nothing.
    both = np.column_stack([rng.standard_normal(turns), chain, np.full(turns, 3.0)])
    assert effective_of_chain(both) == pytest.approx(expected, rel=0.15)


def test_weighted_draws_of_t_tell_the_moments_of_a_normal_distribution():
    rng = np.random.default_rng(2)
    draws, log_density = t_draws(20_000, 1, 5.0, rng)
    at = np.linspace(-3, 3, 7)
    log_t = -3.0 * np.log1p(at**2 / 5)
    known = stats.t.logpdf(at, 5)
    assert log_t - log_t[3] == pytest.approx(known - known[3])
    assert log_density == pytest.approx(-3.0 * np.log1p(draws[:, 0] ** 2 / 5))
    weight = importance(stats.norm.logpdf(draws[:, 0], 1, 0.8) + 7, log_density)
    assert weight.sum() == pytest.approx(1)
    kept = draws[systematic(weight, 5000, rng), 0]
    assert [kept.mean(), kept.std()] == pytest.approx([1, 0.8], abs=0.03)


def test_the_least_number_is_where_an_end_of_the_interval_is_out_by_a_tenth_of_its_width():
    error = np.sqrt(0.1 * 0.9 / FEWEST_EFFECTIVE) / stats.norm.pdf(stats.norm.ppf(0.1))
    assert error / (stats.norm.ppf(0.9) - stats.norm.ppf(0.1)) == pytest.approx(0.1, abs=0.01)


class _Even(Fitted):
    """A figure that nothing moves."""

    method, players, runs, roles = "m", 12, 36, (TunableRole.FIRE_PERIOD,)
    build = Build("1", "1", (Tunable("fire", TunableRole.FIRE_PERIOD, 1000, 100, 4000, 10, "ms"),))
    sampling = Sampling(200, 200.0)

    def __init__(self, effective: float):
        self.sampling = Sampling(200, effective)

    def knows(self, target):
        return True

    def observed(self, target):
        return Observed(None, 0, 0)

    def figures(self, setting, targets, quick=False):
        return np.tile(np.linspace(0.3, 0.6, 200), (len(targets), 1))


@pytest.mark.parametrize(("effective", "told"), [(12.4, True), (49.9, True), (50.0, False), (900.0, False)])
def test_too_few_effective_draws_are_told_with_the_proposal(effective, told):
    (made,) = propose(
        _Even(effective), [Target("finish", Outcome.FINISH, 0.5, 0.05)], Changeable(), "g", Recruitment.AUDIENCE
    )
    assert (made.draws, made.effective_draws) == (200, effective)
    assert any("independent" in warning for warning in made.warnings) == told
