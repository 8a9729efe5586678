"""Places of several games: against brute force, a reference library, and classes of equal games."""

import itertools

import numpy as np
import pytest
from scipy import stats

from analysis.stats.players.shared_places import higher_and_lower, permuted, shared_places


def test_permuting_is_exact():
    """Every way to part the players, one by one."""
    rng = np.random.default_rng(1)
    for n, m in ((2, 2), (3, 5), (6, 4), (5, 5)):
        one, other = rng.integers(0, 4, n) / 3, rng.integers(0, 4, m) / 3 + 0.2
        every = np.concatenate([one, other])
        sums = np.array([sum(every[list(chosen)]) for chosen in itertools.combinations(range(n + m), n)])
        seen = one.sum()
        expected = np.mean(sums >= seen - 1e-9), np.mean(sums <= seen + 1e-9)
        assert permuted(one, other) == pytest.approx(expected)


def test_the_larger_of_both_tests_of_a_reference_library():
    rng = np.random.default_rng(2)
    one, other = rng.integers(0, 60, 7) + 20.0, rng.integers(0, 60, 6).astype(float)

    def difference(a, b, axis):
        return np.mean(a, axis=axis) - np.mean(b, axis=axis)

    for alternative, p in zip(("greater", "less"), higher_and_lower(one, other), strict=True):
        welch = stats.ttest_ind(one, other, equal_var=False, alternative=alternative).pvalue
        exact = stats.permutation_test((one, other), difference, alternative=alternative, n_resamples=np.inf).pvalue
        assert p == pytest.approx(max(welch, exact))


def test_two_players_who_agree_make_nobody_certain():
    """Welch's test alone would: there is no spread."""
    assert higher_and_lower(np.ones(2), np.zeros(2)) == pytest.approx((1 / 6, 1.0))
    assert [(one.first, one.last) for one in shared_places([np.ones(2), np.zeros(2)])] == [(1, 2), (1, 2)]
    assert [(one.first, one.last) for one in shared_places([np.ones(9), np.zeros(9)])] == [(1, 1), (2, 2)]


def test_places_are_counted_by_those_that_lie_above_and_below():
    near = np.linspace(-1, 1, 10)
    found = shared_places([near + 50, near + 49.9, near, near + 100, np.full(3, np.nan), near[:1] + 50])
    assert [(one.first, one.last) for one in found] == [(2, 5), (2, 5), (4, 6), (1, 3), (1, 6), (1, 6)]
    assert [(one.above, one.below) for one in found] == [(1, 1), (1, 1), (3, 0), (0, 3), (0, 0), (0, 0)]


def test_who_is_above_one_that_is_above_a_third_is_above_that_too():
    """Three players against three are never told apart (1 in 20 ways), but each is from the ten between them."""
    few, many = np.array([-0.1, 0, 0.1]), np.linspace(-0.1, 0.1, 10)
    assert [(one.first, one.last) for one in shared_places([few, few + 10])] == [(1, 2), (1, 2)]
    found = shared_places([few, few + 10, many + 5])
    assert [(one.first, one.last) for one in found] == [(3, 3), (1, 1), (2, 2)]


def test_the_order_in_which_games_are_given_does_not_matter():
    rng = np.random.default_rng(3)
    groups = [rng.normal(shift, 1, 9) for shift in (0, 2, 4, 0.5)]
    order = [2, 0, 3, 1]
    found = shared_places(groups)
    assert shared_places([groups[i] for i in order]) == [found[i] for i in order]


@pytest.mark.parametrize("kind", ["ratings", "shares", "uneven"])
def test_equal_games_share_the_first_place_in_95_of_100_classes(kind):
    """250 classes, of which 5 % may fail; as a count, up to the binomial's upper 0.1 % limit."""
    rng = np.random.default_rng(5)
    sizes = (5, 12, 20) if kind == "uneven" else (8, 8, 8, 8, 8)
    wrong = 0
    for _ in range(250):
        if kind == "shares":
            groups = [rng.binomial(3, rng.beta(0.6, 2.4, n)) / 3 for n in sizes]
        elif kind == "ratings":
            groups = [np.round(np.clip(rng.normal(60, 20, n), 0, 100)) for n in sizes]
        else:  # the logarithms of lengths, the fewer the players the wider apart
            groups = [rng.normal(4, spread, n) for n, spread in zip(sizes, (1.0, 0.6, 0.4), strict=True)]
        wrong += any((one.first, one.last) != (1, len(sizes)) for one in shared_places(groups))
    assert wrong <= stats.binom.isf(0.001, 250, 0.05)


def test_a_game_that_is_clearly_better_is_first_alone_mostly():
    rng = np.random.default_rng(6)
    alone = 0
    for _ in range(100):
        found = shared_places([rng.normal(mean, 12, 14) for mean in (80, 55, 55, 55)])
        alone += found[0].last == 1
    assert alone >= 80
