"""Parts of a game compared where to come to them, and to leave them, hangs on who died before."""

import numpy as np
import pytest
from scipy import optimize, stats

from analysis.findings.highest import highest_part
from analysis.stats.players.parts import inside_against_outside, part_against_rest, slope_on_part, slopes_on_parts

_CLEAR_S = 45.0


def playtest(rng, players: int, ratio: float, worst: int, runs: int = 1) -> tuple[np.ndarray, ...]:
    """(deaths, minutes, part, player) of runs of three lives through four parts, two deaths a minute but in `worst`."""
    rows = []
    for player in range(players):
        skill = np.exp(0.4 * rng.standard_normal())
        for _ in range(runs):
            lives = 3
            for part in range(4):
                rate = 2 / 60 * skill * (ratio if part == worst else 1)
                alive, deaths = 0.0, 0
                while lives and (life := rng.exponential(1 / rate)) < _CLEAR_S - alive:
                    alive, deaths, lives = alive + life, deaths + 1, lives - 1
                rows.append((deaths, (alive if lives == 0 else _CLEAR_S) / 60, part, player))
                if not lives:
                    break
    return tuple(np.array(column) for column in zip(*rows, strict=True))


def test_with_one_run_a_player_no_part_is_called_deadlier_where_all_are_alike():
    """Sixty players, as in a class: a player's own level, fitted to each, calls one of the later parts deadlier in a
    third of the playtests, and holds the truth for the first part in hardly any."""
    rng = np.random.default_rng(3)
    told, held = 0, 0
    for _ in range(40):
        deaths, minutes, part, player = playtest(rng, 60, 1.0, 0)
        rate = np.bincount(part, deaths) / np.bincount(part, minutes)
        found = part_against_rest(deaths, minutes, part, int(np.argmax(rate)), player)
        told += found is not None and found.low > 0
        first = inside_against_outside(deaths, minutes, part == 0, player)
        held += first.low <= 0 <= first.high
    assert told <= 6  # 5 % of 40 and three standard errors
    assert held >= 34


@pytest.mark.parametrize(("worst", "most"), [(0, 16), (1, 6)])
def test_a_part_two_and_a_half_times_as_deadly_is_found_as_that(worst, most):
    """One run each; half of the runs end in the first part where that is the deadly one."""
    rng = np.random.default_rng(4)
    found, doubtful = [], 0
    for _ in range(20):
        deaths, minutes, part, player = playtest(rng, 40, 2.5, worst)
        highest = highest_part(deaths, minutes, part, worst, player)
        found.append(highest.found.value)
        doubtful += highest.doubtful
    assert np.exp(np.mean(found)) == pytest.approx(2.5, rel=0.2)
    assert doubtful <= most


def test_with_as_long_inside_as_outside_the_ratio_is_that_of_the_deaths():
    """Given their totals, whatever the players are, the deaths inside are binomial."""
    rng = np.random.default_rng(5)
    player, inside = (a.ravel() for a in np.indices((30, 2)))
    count = rng.poisson(3 * rng.gamma(2, 0.5, 30)[player] * np.where(inside, 2.0, 1.0))
    found = inside_against_outside(count, np.ones(60), inside == 1, player)
    assert np.exp(found.value) == pytest.approx(count[inside == 1].sum() / count[inside == 0].sum(), rel=1e-3)
    # No less than the model's error: that of a binomial of all events.
    share = count[inside == 1].mean() / (2 * count.mean())
    least = 1 / np.sqrt(count.sum() * share * (1 - share))
    assert found.high - found.value >= stats.t.ppf(0.975, found.players - 1) * least * (1 - 1e-6)
    assert found.players == np.unique(player[count > 0]).size


def levels(rng, rises: float, players: int = 12, runs: int = 4) -> tuple[np.ndarray, ...]:
    """(deaths, seconds, level, player) of runs of one life, a level more each 20 s, danger times e^rises a level."""
    rows = []
    for player in range(players):
        skill = np.exp(0.4 * rng.standard_normal())
        for _ in range(runs):
            for level in range(12):
                life = rng.exponential(60 / (skill * np.exp(rises * level)))
                rows.append((life < 20, min(life, 20.0), level, player))
                if life < 20:
                    break
    return tuple(np.array(column, float) for column in zip(*rows, strict=True))


@pytest.mark.parametrize("rises", [0.0, 0.3])
def test_levels_that_are_alike_are_not_said_to_be_deadlier_the_later_they_come(rises):
    """Each run ends by a death at its last level: a player's own level calls that one deadly in half the playtests."""
    rng = np.random.default_rng(6)
    found = [slope_on_part(*levels(rng, rises)) for _ in range(40)]
    assert np.mean([one.value for one in found]) == pytest.approx(rises, abs=0.05)
    assert sum(one.low <= rises <= one.high for one in found) >= 34


def test_one_death_each_does_not_tell_how_players_differ():
    assert slope_on_part(*levels(np.random.default_rng(6), 0.0, runs=1)) is None


def test_slopes_side_by_side_are_those_of_the_likelihood_integrated_over_players():
    """Gamma(size, 1 / size) by 400 points of its distribution function instead of the closed form."""
    rng = np.random.default_rng(7)
    player, part = (a.ravel() for a in np.indices((10, 6)))
    covariates = np.column_stack([part, rng.integers(0, 2, 60)]).astype(float)
    minutes = rng.uniform(0.5, 1.5, 60)
    skill = rng.gamma(3, 1 / 3, 10)[player]
    count = rng.poisson(2 * skill * np.exp(covariates @ [0.2, -0.5]) * minutes)

    def falling(at):
        size = np.exp(at[3])
        nodes = stats.gamma.ppf((np.arange(400) + 0.5) / 400, size, scale=1 / size)
        mean = minutes * np.exp(at[2] + (covariates - covariates.mean(axis=0)) @ at[:2])
        height = stats.poisson.logpmf(count[:, None], mean[:, None] * nodes)
        each = np.array([height[player == one].sum(axis=0) for one in range(10)])
        return 0.5 / size - np.log(np.exp(each).mean(axis=1)).sum()

    best = optimize.minimize(
        falling, [0.0, 0.0, 0.5, 1.0], method="Nelder-Mead", options={"xatol": 1e-5, "fatol": 1e-8}
    )
    found = slopes_on_parts(count, minutes, covariates, player)
    assert [one.value for one in found] == pytest.approx(best.x[:2], abs=2e-3)
    assert slopes_on_parts(count, minutes, covariates[:, [0, 0]], player) is None  # cannot be told apart
