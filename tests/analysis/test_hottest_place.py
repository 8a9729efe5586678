"""The place that was picked as the hottest: its ratio is no higher than the next playtest will show."""

import numpy as np
import pytest
from scipy import integrate, stats

from analysis.stats import picked
from analysis.stats.picked import drawn_ratios
from analysis.stats.places import hot_spots


def _playtest(rng: np.random.Generator, hot: float, players: int = 12, cells: int = 60):
    """(deaths, seconds) by player and cell, and the true ratio of each cell to what time alone explains."""
    share = rng.gamma(0.7, size=cells)
    share /= share.sum()
    danger = np.ones(cells)
    danger[rng.choice(np.argsort(share)[cells // 2 : -5])] = hot
    died = rng.multinomial(8, danger * share / (danger @ share), players)
    return died.astype(float), np.tile(60 * share, (players, 1)), danger / (danger @ share)


@pytest.mark.parametrize("hot", [1.0, 8.0])
def test_the_interval_of_the_picked_place_holds_what_is_true_of_it(hot):
    """Of 80 playtests 95 % should; three standard errors of the simulation less. The raw ratio is far too high."""
    rng = np.random.default_rng(31)
    held, raw, drawn = 0, [], []
    for _ in range(80):
        died, seconds, true = _playtest(rng, hot)
        spots = hot_spots(died, seconds, simulations=19)
        top = int(np.argmax(spots.score))
        held += spots.times.low[top] <= true[top] <= spots.times.high[top]
        raw.append(np.log(died[:, top].sum() / spots.expected[top] / true[top]))
        drawn.append(np.log(spots.times.value[top] / true[top]))
    assert held >= 70
    assert np.mean(raw) > 2 * abs(np.mean(drawn)) if hot == 1 else np.mean(raw) > 0
    assert abs(np.mean(drawn)) < 0.45


def test_the_median_is_that_of_the_plain_integral(monkeypatch):
    """One middle and one width allowed: the posterior of one cell by numerical integration."""
    monkeypatch.setattr(picked, "_MIDDLES", np.array([0.0, 0.0]))
    monkeypatch.setattr(picked, "_WIDTHS", np.array([0.5, 0.5 + 1e-9]))
    died, mean = np.array([[5.0, 1], [7, 2]]), np.array([[1.0, 2], [2.0, 3]])
    worth = float(picked._worth([died], [mean], 0.95)[0])
    (found,) = drawn_ratios([died], [mean])

    def density(x: float) -> float:
        return stats.poisson.pmf(0, worth * 3 * np.exp(x)) * np.exp(12 * worth * x) * stats.cauchy.pdf(x, 0, 0.5)

    whole = integrate.quad(density, -5, 6, limit=400)[0]
    for value, share in ((found.value[0], 0.5), (found.low[0], 0.025), (found.high[0], 0.975)):
        assert integrate.quad(density, -5, np.log(value), limit=400)[0] / whole == pytest.approx(share, abs=0.004)


def test_what_differs_from_player_to_player_counts_less():
    """Twenty deaths of one player at one place are worth less than twenty of ten."""
    mean = np.full((10, 20), 0.5)
    together, alone = np.full((10, 20), 0.5), np.full((10, 20), 0.5)
    together[:, 3] = 2.0
    alone[0, 3], alone[1:, 3] = 20.0, 0.0
    (of_all,), (of_one,) = (drawn_ratios([count], [mean]) for count in (together, alone))
    assert of_one.value[3] < of_all.value[3]
    assert of_one.low[3] < of_all.low[3]


def test_where_nothing_is_expected_nothing_is_said_and_one_player_gives_no_interval():
    (found,) = drawn_ratios([np.array([[3.0, 0, 1]])], [np.array([[2.0, 0, 2]])])
    assert np.isnan(found.value[1]) and np.isfinite(found.value[[0, 2]]).all()
    assert np.isnan(found.low).all() and np.isnan(found.high).all()
