"""Comparisons within players, against statsmodels' clustered least squares."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from analysis.stats.players.within_player import holm, level_effects, mean_of_players


def unbalanced(seed: int = 3):
    rng = np.random.default_rng(seed)
    player = np.repeat(np.arange(9), 40)
    skill = rng.normal(0, 2, 9)
    # Good players choose level 2 more often: a plain mean would call it easy.
    chance = np.stack([np.ones(9), np.ones(9), np.exp(skill)], axis=1)
    chance /= chance.sum(axis=1, keepdims=True)
    level = np.array([rng.choice(3, p=chance[p]) for p in player])
    value = skill[player] + np.array([0.0, 0.5, -1.0])[level] + rng.normal(0, 1, len(player))
    return value, level, player


def test_effects_and_intervals_are_those_of_clustered_least_squares():
    """statsmodels 0.15 OLS, `cov_type="cluster"`: its small-sample factor is K/(K-1) * (n-1)/(n-k), ours K/(K-1) with
    the K players who saw the level.
    """
    value, level, player = unbalanced()
    found = level_effects(value, level, player, 3)
    design = np.concatenate([np.eye(9)[player], np.eye(3)[level][:, 1:]], axis=1)
    fitted = sm.OLS(value, design).fit(cov_type="cluster", cov_kwds={"groups": player}, use_t=True)
    raw = np.r_[0.0, fitted.params[9:]]
    np.testing.assert_allclose(found.effect, raw - raw.mean(), rtol=1e-9)
    n, k = design.shape
    contrast = np.zeros((3, k))
    contrast[1, 9] = contrast[2, 10] = 1
    contrast -= contrast.mean(axis=0)
    variance = np.diag(contrast @ fitted.cov_params() @ contrast.T) / ((n - 1) / (n - k))
    half_width = (found.high - found.low) / 2
    saw = np.array([len(np.unique(player[level == k])) for k in range(3)])
    assert saw.tolist() == found.players.tolist() and saw.min() < 9
    variance *= 8 / 9 * saw / (saw - 1)
    np.testing.assert_allclose(half_width, stats.t.ppf(0.975, saw - 1) * np.sqrt(variance), rtol=1e-8)
    # Two levels against each other: here the second's coefficient alone, since the first is the reference.
    apart = found.difference(1, 0)
    error = fitted.bse[9] * np.sqrt((n - k) / (n - 1))
    np.testing.assert_allclose(
        (apart.value, apart.low, apart.high), fitted.params[9] + stats.t.ppf(0.975, 8) * error * np.array([0, -1, 1])
    )


def test_a_level_that_few_saw_is_not_told_apart_by_chance():
    """Ten songs of which two of twelve players chose the last; songs suit players differently, none is harder."""
    rng = np.random.default_rng(11)
    player, level = np.divmod(np.arange(12 * 10), 10)
    keep = (level < 9) | (player < 2)
    player, level = np.repeat(player[keep], 20), np.repeat(level[keep], 20)
    missed = told = 0
    for _ in range(200):
        taste = rng.normal(size=(12, 10))
        found = level_effects(taste[player, level] + rng.normal(0, 0.3, len(player)), level, player, 10)
        missed += not found.low[9] <= 0 <= found.high[9]
        told += found.p[9] < 0.05
    assert missed <= 20 and told <= 6  # 5 % of 200 and three standard errors; far less after Holm


@pytest.mark.parametrize("both", [1, 2, 3])
def test_who_met_one_level_only_tells_nothing_of_the_other(both):
    """Seven players know the first song, one, two or three of them the second too; songs suit players differently."""
    rng = np.random.default_rng(both)
    player, level = np.divmod(np.arange(14), 2)
    keep = (level == 0) | (player < both)
    player, level = np.repeat(player[keep], 40), np.repeat(level[keep], 40)
    told = 0
    for _ in range(100):
        taste = rng.normal(size=(7, 2))
        found = level_effects(taste[player, level] + rng.normal(0, 0.3, len(player)), level, player, 2)
        told += bool(np.any(found.p < 0.05))
        assert found.compared.tolist() == [both, both] and found.players.tolist() == [7, both]
        apart = found.difference(1, 0)
        assert (apart.low is None) == (both == 1)
    assert told <= 11  # 5 % of 100 and three standard errors


def test_levels_are_not_judged_by_who_chose_them():
    value, level, player = unbalanced()
    found = level_effects(value, level, player, 3)
    assert found.effect[2] < found.effect[0] < found.effect[1]
    assert value[level == 2].mean() > value[level == 0].mean()


def test_a_block_finer_than_the_player_is_swept_out_but_players_stay_the_clusters():
    value, level, player = unbalanced()
    half = np.arange(len(value)) % 2
    shifted = value + 50 * half
    found = level_effects(shifted, level, player, 3, block=2 * player + half)
    plain = level_effects(value, level, player, 3, block=2 * player + half)
    np.testing.assert_allclose(found.effect, plain.effect, atol=1e-9)
    np.testing.assert_allclose(found.low, plain.low, atol=1e-9)


def test_small_cases_give_no_nonsense():
    nothing = level_effects(np.full(3, np.nan), np.zeros(3, int), np.zeros(3, int), 2)
    assert np.isnan(nothing.effect).all()
    one = level_effects(np.array([1.0, 3.0]), np.array([0, 1]), np.zeros(2, int), 2)
    np.testing.assert_allclose(one.effect, [-1, 1])
    assert np.isnan(one.low).all()
    unseen = level_effects(np.array([1.0, 3.0, 2.0, 5.0]), np.array([0, 2, 0, 2]), np.array([0, 0, 1, 1]), 3)
    assert np.isnan(unseen.effect[1])
    np.testing.assert_allclose(unseen.effect[[0, 2]], [-1.25, 1.25])


def test_holm_on_a_hand_worked_example():
    """p = .01 .04 .03 .005: times 4, 3, 2, 1 from the smallest, never falling: .005*4, .01*3, .03*2, max(.04, .06)."""
    np.testing.assert_allclose(holm(np.array([0.01, 0.04, 0.03, 0.005])), [0.03, 0.06, 0.06, 0.02])
    assert np.isnan(holm(np.array([np.nan, 0.02]))[0])
    assert holm(np.array([np.nan, 0.02]))[1] == 0.02


def test_mean_of_players_is_students_interval():
    """t(0.975, 4) = 2.776 (any table); values 1..5 have mean 3 and standard error sqrt(2.5 / 5) = 0.7071."""
    found = mean_of_players(np.array([1, 2, 3, 4, 5, np.nan]))
    assert found.players == 5
    assert found.value == 3
    assert found.low is not None
    assert abs(found.low - (3 - 2.776 * 0.70711)) < 1e-3
    assert mean_of_players(np.array([np.nan])).value is None
    assert mean_of_players(np.array([2.0])).low is None
