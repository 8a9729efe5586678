"""Points on cells by chance, against the multinomial distribution."""

from itertools import product
from math import factorial, prod

import numpy as np
import pytest
from scipy import stats

from analysis.stats.scattering import scattered

# Chances far below a 65,536th, cells without any, at the end too, and borders that are whole 65,536ths.
UNEVEN = [0.0, 3e-6, 0.25, 0.0, 0.31234567, 2e-6, 0.25, 1 - 0.25 - 0.31234567 - 0.25 - 5e-6, 0.0]


@pytest.mark.parametrize("chance", [[0.5, 0.3, 0.2], [1 / 3, 1 / 3, 1 / 3, 0.0], [1e-3, 0.4, 0.599]])
def test_the_chance_of_every_outcome(chance: list[float]) -> None:
    """Three points: as often as the multinomial distribution says, outcome by outcome."""
    times = 60_000
    counts = scattered(np.random.default_rng(5), 3, np.array(chance), times)
    found, expected = [], []
    for outcome in product(range(4), repeat=len(chance)):
        if sum(outcome) == 3:
            p = factorial(3) * prod(c**k / factorial(k) for c, k in zip(chance, outcome, strict=True))
            seen = int((counts == outcome).all(axis=1).sum())
            if p * times < 5:
                assert stats.poisson.sf(seen - 1, p * times) > 1e-4 or seen == 0
            else:
                found.append(seen)
                expected.append(p * times)
    rest, all_ = times - sum(found), times - sum(expected)
    if all_ > 5:
        found.append(rest)
        expected.append(all_)
    assert stats.chisquare(found, np.array(expected) * sum(found) / sum(expected)).pvalue > 1e-3


@pytest.mark.parametrize("points", [60, 90, 2000])
def test_small_chances_are_kept_and_none_stays_none(points: int) -> None:
    times = 12_000_000 // points
    chance = np.array(UNEVEN)
    counts = scattered(np.random.default_rng(points), points, chance, times)
    assert counts.shape == (times, chance.size) and (counts.sum(axis=1) == points).all()
    total = counts.sum(axis=0)
    assert (total[chance == 0] == 0).all()
    expected = chance * points * times
    assert (np.abs(total - expected) <= 4 * np.sqrt(expected)).all()


def test_spread_from_time_to_time() -> None:
    """Variance and covariance of the multinomial distribution: n p (1 - p) and - n p q."""
    chance = np.array([0.1, 0.2, 0.3, 0.4])
    counts = scattered(np.random.default_rng(2), 30, chance, 40_000)
    expected = 30 * (np.diag(chance) - np.outer(chance, chance))
    assert np.cov(counts.T) == pytest.approx(expected, abs=0.15)


def test_no_points() -> None:
    assert scattered(np.random.default_rng(1), 0, np.array([0.5, 0.5]), 3).tolist() == [[0, 0]] * 3
