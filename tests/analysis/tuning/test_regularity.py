"""How regular deaths are, and what the chain makes of it, against closed forms and other people's distributions."""

import numpy as np
import pytest
from scipy import stats

from analysis.models.staged_games.chain import Course, in_trials, play
from analysis.models.staged_games.regularity import _SHAPES, SHAPE_SD, log_posterior, regular


@pytest.mark.parametrize("shape", [1.0, 1.5, 2.0, 4.0])
def test_how_alike_times_of_a_shape_are(shape):
    mean, variance = stats.weibull_min.stats(shape, moments="mv")
    assert regular(np.array(shape)) == pytest.approx(1 - variance / mean**2, abs=1e-9)


@pytest.mark.parametrize(("shape", "low", "high"), [(1.0, 1.0, 1.1), (2.0, 1.85, 2.15), (3.0, 2.75, 3.25)])
def test_the_shape_is_found_though_half_of_the_times_are_broken_off(shape, low, high):
    rng = np.random.default_rng(5)
    time, end = stats.weibull_min.rvs(shape, size=2000, random_state=rng), rng.uniform(0.3, 1.6, 2000)
    density = log_posterior(np.minimum(time, end), time <= end)
    assert low <= _SHAPES[np.argmax(density)] <= high


def test_the_density_is_weibulls_with_the_prior_on_the_shape():
    time, died = np.array([0.4, 1.1, 0.9, 0.7]), np.array([True, True, False, True])
    density = log_posterior(time, died)

    def by_scipy(shape: float) -> float:
        scale = ((time**shape).sum() / died.sum()) ** (1 / shape)
        one = stats.weibull_min(shape, scale=scale)
        prior = stats.norm.logpdf(np.log(shape), 0, SHAPE_SD)
        return float(one.logpdf(time[died]).sum() + one.logsf(time[~died]).sum() + prior)

    assert density[20] - density[0] == pytest.approx(by_scipy(_SHAPES[20]) - by_scipy(1.0), abs=1e-9)


@pytest.mark.parametrize(("mean", "regular_", "trials"), [(0.8, 0.8, 2), (2.0, 2 / 3, 4), (4.0, 0.8, 6)])
@pytest.mark.parametrize("lives", [1, 2, 4])
def test_regular_deaths_are_binomial(mean, regular_, trials, lives):
    """Where the wanted variance is that of a binomial number, the chain has its distribution."""
    zero = np.zeros(1)
    one = play(
        in_trials(
            Course(
                start_lives=lives,
                refill=np.zeros(1, dtype=int),
                start_tier=0,
                death=np.full((1, 1, 1), mean / 40),
                clear_s=np.full((1, 1, 1), 40.0),
                rise=np.zeros((1, 1)),
                keep_tier=zero,
                quit_first=zero,
                quit_again=zero,
                spread=zero,
                regular=np.array([regular_]),
            )
        )
    )
    # mean - regular mean^2 / (mean + regular) is here the variance of this binomial number.
    exact = stats.binom.cdf(lives - 1, trials, mean / trials)
    assert one.reach[1, 0] == pytest.approx(exact, abs=1e-9)
    assert one.reach[1, 0] != pytest.approx(stats.poisson.cdf(lives - 1, mean), abs=1e-3)
