"""The distributions that are taken from scipy.special against scipy.stats, and commands that need not wait for it."""

import subprocess
import sys

import numpy as np
import pytest
from scipy import stats

from analysis.stats import laws
from analysis.stats.estimate import margin_of_difference
from analysis.stats.proportions import clopper_pearson

RNG = np.random.default_rng(5)


def test_they_are_those_of_scipy_stats():
    n = RNG.integers(1, 300, 500)
    k, p, mean = np.minimum(RNG.integers(0, 300, 500), n), RNG.uniform(0, 1, 500), RNG.uniform(0.01, 40, 500)
    assert np.array_equal(laws.binomial_below(k, n, p), stats.binom.cdf(k, n, p))
    assert laws.binomial_exactly(k, n, p) == pytest.approx(stats.binom.pmf(k, n, p), rel=1e-9)
    certain = laws.binomial_exactly(np.array([0, 3, 0, 3]), 3, np.array([0.0, 0.0, 1.0, 1.0]))
    assert certain.tolist() == [1, 0, 0, 1]
    assert np.array_equal(laws.poisson_above(k - 1, mean), stats.poisson.sf(k - 1, mean))
    for q in (0.025, 0.5, 0.9):
        assert np.array_equal(laws.gamma_quantile(q, mean, p), stats.gamma(mean, scale=p).ppf(q))
        assert np.array_equal(laws.chi2_quantile(q, n), stats.chi2.ppf(q, n))
    tied = RNG.integers(0, 9, 60).astype(float)
    assert np.array_equal(laws.ranks(tied), stats.rankdata(tied))


def test_the_tests_are_those_of_scipy_stats():
    groups = [RNG.normal(m, s, c).round(1) for m, s, c in ((0, 1, 9), (1, 2, 14), (0.5, 1, 5))]
    assert laws.kruskal_wallis(groups) == pytest.approx(stats.kruskal(*groups).pvalue, rel=1e-12)
    for one, other in (groups[:2], groups[1:]):
        low, high = stats.ttest_ind(one, other, equal_var=False).confidence_interval(0.95)
        middle, margin = one.mean() - other.mean(), margin_of_difference(one, other, 0.95)
        assert (middle - margin, middle + margin) == pytest.approx((low, high), rel=1e-12)
    for count in (0, 1, 7, 12):
        exact = stats.binomtest(count, 12).proportion_ci(0.95, method="exact")
        assert clopper_pearson(count, 12, 0.95) == pytest.approx((exact.low, exact.high), rel=1e-6)


@pytest.mark.parametrize(
    "module, needless",
    [
        ("analysis", ("numpy", "pandas", "scipy", "duckdb")),
        ("analysis.findings", ("scipy.stats", "plotly", "dash")),
        ("analysis.tuning_answers.plan_game", ("scipy.stats", "pandas", "plotly", "dash")),
    ],
)
def test_who_asks_does_not_wait_for_what_is_not_needed(module, needless):
    code = f"import sys, {module}; print([m for m in {needless!r} if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout == "[]\n"
