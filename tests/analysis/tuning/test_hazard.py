"""The hazard posterior: quadrature against brute force, recovery of known parameters, calibration."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, stats

from analysis.levers.fire_period import LEVER as FIRE
from analysis.models.data import Build, Segment, Tunable
from analysis.models.fitting.laplace import Design, log_poisson_normal
from analysis.models.fitting.posterior import Posterior, fit_posterior
from analysis.models.fitting.sampling import Sampling
from analysis.models.setting import rules
from analysis.models.staged_games.hazard import Priors, alpha_prior, steps
from ingest.vocabulary import TunableRole
from tests.analysis.levers.games import staged

SEGMENTS = (Segment(1), Segment(1, 1), Segment(2))


@pytest.mark.parametrize(("deaths", "expected", "sigma"), [(0, 0.5, 0.3), (3, 2.0, 0.7), (40, 25.0, 1.2), (0, 60, 2.0)])
def test_the_quadrature_against_plain_integration(deaths, expected, sigma):
    u = np.linspace(-14, 6, 400_001)
    whole = integrate.simpson(np.exp(deaths * u - expected * np.exp(u)) * stats.norm.pdf(u, 0, sigma), x=u)
    found = log_poisson_normal(np.array(deaths), np.array(expected), np.array(sigma), nodes=25)
    assert found == pytest.approx(np.log(whole), abs=1e-5)
    coarse = log_poisson_normal(np.array(deaths), np.array(expected), np.array(sigma))
    assert coarse == pytest.approx(np.log(whole), abs=1e-3)


def _simulated(rng, players=12, attempts=3, segments=SEGMENTS):
    """A playtest drawn from the prior itself: two builds, so that the exponent is in the data."""
    priors = Priors(level=(-3.4, 0.4))
    mean, covariance = alpha_prior(segments, priors)
    alpha = rng.multivariate_normal(mean, covariance)
    of_rate = priors.of(FIRE)
    learning, exponent = rng.normal(*priors.learning), rng.normal(*of_rate)
    sigma = abs(rng.normal(0, priors.sigma_scale))
    skill = sigma * rng.standard_normal(players)
    rows = [(p, r, j) for p in range(players) for r in range(1, attempts + 1) for j in range(len(segments))]
    player, attempt, segment = np.array(rows).T
    rate = np.where(player % 2 == 0, 0.0, 0.5)
    exposure = rng.uniform(10, 60, len(rows))
    x = np.zeros((len(rows), len(segments) + 2))
    x[np.arange(len(rows)), segment] = 1
    x[:, -2], x[:, -1] = np.log(attempt), rate
    beta = np.array([*alpha, learning, exponent])
    deaths = rng.poisson(exposure * np.exp(x @ beta + skill[player]))
    prior_mean = np.array([*mean, priors.learning[0], of_rate[0]])
    prior_covariance = np.zeros((len(beta), len(beta)))
    prior_covariance[: len(segments), : len(segments)] = covariance
    prior_covariance[-2, -2], prior_covariance[-1, -1] = priors.learning[1] ** 2, of_rate[1] ** 2
    names = ("learning", "exponent")
    design = Design(x, player, players, deaths.astype(float), np.log(exposure), names, prior_mean, prior_covariance)
    return design, beta, sigma


def test_parameters_are_recovered_and_intervals_are_honest():
    """200 playtests drawn from the prior: ranks of the truth among the draws are even (Cook, Gelman & Rubin 2006).

    Simulation-based calibration, J. Comput. Graph. Stat. 15:675-692: if prior, data and posterior fit together, the
    truth's rank is uniform. A fitted posterior that was too narrow would pile ranks up at the ends.
    """
    rng = np.random.default_rng(11)
    ranks, spread_ranks, errors = [], [], []
    for _ in range(200):
        design, beta, sigma = _simulated(rng)
        posterior = fit_posterior(design, draws=120, tries=600)
        ranks.append((posterior.beta < beta).mean(axis=0))
        spread_ranks.append((posterior.sigma < sigma).mean())
        errors.append(posterior.beta.mean(axis=0) - beta)
    for name, own in [*zip(["a1", "a2", "a3", "learning", "exponent"], np.array(ranks).T, strict=True)]:
        inside = np.mean((own > 0.1) & (own < 0.9))
        assert 0.72 < inside < 0.88, (name, inside)  # 80 % +- 3 standard errors of 200
        assert stats.kstest(own, "uniform").pvalue > 0.002, name
    inside = np.mean((np.array(spread_ranks) > 0.1) & (np.array(spread_ranks) < 0.9))
    assert 0.72 < inside < 0.88, inside
    assert np.all(abs(np.mean(errors, axis=0)) < 0.06)


def test_the_same_data_and_seed_give_the_same_draws():
    design, _, _ = _simulated(np.random.default_rng(3))
    one, other = fit_posterior(design, draws=40, tries=300), fit_posterior(design, draws=40, tries=300)
    assert np.array_equal(one.beta, other.beta)
    assert one.sampling.effective > 80


def test_what_the_data_carry_is_told_from_what_the_prior_carries():
    """With one fire rate the exponent stays the prior's; with two it is learnt."""
    design, _, _ = _simulated(np.random.default_rng(5), players=40)
    assert fit_posterior(design).data_share("exponent") > 0.4
    flat = replace(design, x=np.column_stack([design.x[:, :-1], np.zeros(len(design.x))]))
    assert fit_posterior(flat).data_share("exponent") < 0.15


def test_the_share_that_the_play_has_settled_is_of_the_variance():
    """Draws with half the standard deviation of the prior: three quarters of its variance are gone."""
    draws = 2.0 + 0.15 * stats.norm.ppf((np.arange(1000) + 0.5) / 1000)[:, None]
    posterior = Posterior(draws, draws[:, 0], ("exponent",), 0, np.zeros(1), Sampling(1000, 1000), np.array([0.3]))
    assert posterior.data_share("exponent") == pytest.approx(0.75, abs=0.01)


def test_levels_walk_from_stage_to_stage_and_bosses_stand_apart():
    """By the definition of a walk: between stages n apart lie n steps, and the two stages' own parts."""
    segments = [Segment(2), Segment(2, 1), Segment(3), Segment(7)]
    plain = Priors()
    mean, covariance = alpha_prior(segments, plain)

    def apart(one, other):
        return covariance[one, one] + covariance[other, other] - 2 * covariance[one, other]

    own = 2 * plain.own_sd**2
    assert apart(0, 2) == pytest.approx(plain.walk_sd**2 + own) and apart(2, 3) == pytest.approx(
        4 * plain.walk_sd**2 + own
    )
    assert apart(0, 1) == pytest.approx(plain.boss[1] ** 2 + own)
    assert mean[1] - mean[0] == pytest.approx(plain.boss[0]) and mean[2] == mean[0]
    assert covariance[0, 0] == pytest.approx(plain.level[1] ** 2 + plain.own_sd**2)


def test_a_dose_is_counted_from_the_build_that_is_to_be_changed():
    """Fire at 800 ms on the first build, 400 ms on the present one: the old one fired half as often."""
    fire = Tunable("fire", TunableRole.FIRE_PERIOD, 800, 100, 4000, 1, "ms")
    faster = replace(fire, value=400)
    data = replace(staged(fire), builds=(Build("a", "1", (fire,)), Build("b", "1", (faster,))), current=1)
    by_build = [rules(build.tunables, data.segments, {}) for build in data.builds]
    assert steps(FIRE, data, by_build)[:, 0] == pytest.approx([np.log(1 / 2), 0])


def test_nobody_died():
    design, _, _ = _simulated(np.random.default_rng(6))
    quiet = replace(design, counts=np.zeros_like(design.counts))
    posterior = fit_posterior(quiet)
    assert np.isfinite(posterior.beta).all()
    assert np.isfinite(posterior.sigma).all()
