"""Learning, spread of skill, streaks, longest waits, builds, hardware: against other implementations and by hand."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.stats.hardware import bounces, pixels_a_unit, rest_noise
from analysis.stats.lifetimes.compare import compare_builds
from analysis.stats.permuting import arrangements, p_value
from analysis.stats.players.parts import slope_on_part
from analysis.stats.players.spread import spread_of_players
from analysis.stats.streaks import longest_wait, streaks, wait_chance


def test_half_as_many_deaths_with_each_doubling_of_attempts_is_one_half():
    attempt, player = np.tile([1, 2, 4], 3), np.repeat([1, 2, 3], 3)
    found = slope_on_part(np.tile([8, 4, 2], 3), np.ones(9), np.log(attempt), player)
    assert found.per_doubling.value == pytest.approx(0.5)


def runs_until_a_bad_one(rng, learns: float, players: int = 30) -> tuple[np.ndarray, ...]:
    """(deaths, minutes, attempt, player) of up to four runs of three lives; 60 % stop after one below a minute."""
    rows = []
    for player in range(players):
        skill = np.exp(0.4 * rng.standard_normal())
        for attempt in (1, 2, 3, 4):
            died = np.cumsum(rng.exponential(30 / (skill * attempt**learns), 3))
            rows.append((int((died <= 240).sum()), min(died[-1], 240.0) / 60, attempt, player))
            if died[-1] < 60 and rng.random() < 0.6:
                break
    return tuple(np.array(column, float) for column in zip(*rows, strict=True))


@pytest.mark.parametrize("learns", [0.0, -0.3])
def test_players_who_stop_after_a_bad_run_do_not_look_like_learning(learns):
    """With a level fitted to each player the slope was 0.2 too high, and told "worse" in a quarter of such classes."""
    rng = np.random.default_rng(5)
    slopes, held = [], 0
    for _ in range(40):
        deaths, minutes, attempt, player = runs_until_a_bad_one(rng, learns)
        found = slope_on_part(deaths, minutes, np.log(attempt), player)
        slopes.append(found.value)
        held += not found.excludes(learns)
    assert np.mean(slopes) == pytest.approx(learns, abs=0.06)
    assert held >= 34  # 95 % of 40 less three standard errors


def test_the_spread_of_players_is_the_negative_binomial_maximum():
    import statsmodels.api as sm

    rng = np.random.default_rng(9)
    time = rng.uniform(5, 20, 60)
    deaths = rng.poisson(time * rng.gamma(2.0, 0.5, 60) * 1.5)
    found = spread_of_players(deaths, time, np.arange(60))
    fit = sm.NegativeBinomial(deaths, np.ones(60), loglike_method="nb2", exposure=time).fit(disp=False)
    assert found.rate == pytest.approx(np.exp(fit.params[0]), rel=1e-3)
    assert found.sd.value**2 == pytest.approx(fit.params[1], rel=1e-3)
    assert found.sd.low < found.sd.value < found.sd.high
    assert np.all((found.low < found.own) & (found.own < found.high))
    # A player at the 90th percentile against one at the 10th: scipy's gamma distribution.
    law = stats.gamma(1 / found.sd.value**2)
    assert found.ratio == pytest.approx(law.ppf(0.9) / law.ppf(0.1), rel=1e-6)
    # Gamma and Poisson are conjugate: so are own rates drawn where the spread is known, and 60 players tell it.
    size = 1 / found.sd.value**2
    assert found.own == pytest.approx((deaths + size) / (time + size / found.rate), rel=0.03)
    # Own rates are drawn inwards, never past the common one.
    raw = deaths / time
    assert np.all(np.abs(found.own - found.rate) <= np.abs(raw - found.rate) + 1e-9)


def test_equal_players_have_no_spread_and_few_have_none_to_tell():
    same = spread_of_players(np.full(8, 5), np.full(8, 10.0), np.arange(8))
    assert same.sd.value == 0 and same.ratio == 1 and same.own == pytest.approx(np.full(8, 0.5))
    # 40 deaths in 80 minutes leave the common rate between 0.36 and 0.68 (Garwood): nobody's own is known better.
    assert np.all(same.low < 0.36) and np.all(same.high > 0.68)
    assert spread_of_players(np.ones(2), np.ones(2), np.arange(2)) is None
    assert spread_of_players(np.zeros(9), np.ones(9), np.arange(9)) is None


def test_own_rates_and_the_spread_hold_the_truth_with_few_players():
    rng = np.random.default_rng(10)
    own = spread = 0.0
    for _ in range(60):
        true = 8 * rng.gamma(1 / 0.09, 0.09, 8)  # standard deviation 0.3: often none is seen
        time = rng.gamma(4, 0.25, 8)
        found = spread_of_players(rng.poisson(true * time), time, np.arange(8))
        own += np.mean((found.low <= true) & (true <= found.high)) / 60
        spread += (found.sd.low <= 0.3 <= found.sd.high) / 60
    assert own > 0.88 and spread > 0.88


def test_streaks_by_hand():
    success, run = np.array([1, 1, 0, 1, 0, 0, 1, 1], bool), np.array([1, 1, 1, 1, 2, 2, 2, 3])
    found = streaks(success, run)
    assert found.shots.tolist() == [3, 1, 1, 1, 1, 1]
    assert found.missed.tolist() == [True, False, True, True, False, False]
    assert found.run.tolist() == [1, 1, 2, 2, 2, 3]
    assert streaks(np.zeros(0, bool), np.zeros(0)).shots.size == 0


def test_longest_waits_by_hand_and_by_dice():
    assert longest_wait(np.array([0, 0, 1, 0, 0, 0], bool), np.array([1, 1, 1, 1, 2, 2])) == 2
    rng = np.random.default_rng(3)
    hits = 0
    for _ in range(2000):
        here = rng.integers(0, 6, 300) == 0
        hits += longest_wait(here, np.zeros(300)) >= 30
    assert wait_chance(30, 1 / 6, 300) == pytest.approx(hits / 2000, abs=0.04)
    assert wait_chance(0, 0.2, 10) == 1 and wait_chance(20, 0.2, 10) == 0
    # Runs of 40, of which 30 in a row leave little room: one long series would have more of it.
    run, hits = np.repeat(np.arange(20), 40), 0
    for _ in range(2000):
        hits += longest_wait(rng.integers(0, 6, 800) == 0, run) >= 30
    assert wait_chance(30, 1 / 6, np.full(20, 40)) == pytest.approx(hits / 2000, abs=0.04)
    assert hits / 2000 < 0.3 < wait_chance(30, 1 / 6, 800)


def test_all_arrangements_are_listed_once_where_there_are_few():
    table, complete = arrangements(2, 2, 1, 99, np.random.default_rng(0))
    assert complete and table.shape == (1 + 6 * 2, 5)
    assert len({tuple(row) for row in table[1:]}) == 12 and tuple(table[0]) in {tuple(row) for row in table[1:]}
    many, complete = arrangements(10, 10, 3, 50, np.random.default_rng(0))
    assert not complete and many.shape == (51, 23) and np.all(many[:, :20].sum(axis=1) == 10)
    # Who played both builds has them swapped in half of the arrangements, one independently of the other.
    many, _ = arrangements(10, 10, 3, 2000, np.random.default_rng(0))
    assert many[:, 20:].mean(axis=0) == pytest.approx(0.5, abs=4 * 0.5 / 2000**0.5)
    assert np.corrcoef(many[:, 20:].T)[np.triu_indices(3, 1)] == pytest.approx(0, abs=4 / 2000**0.5)
    assert p_value(np.array([3.0, 1, -3, 2, 3]), True) == 0.5 and p_value(np.array([3.0, 1, -3, 2]), False) == 0.5


def test_the_permutation_p_is_that_of_listing_every_split_by_hand():
    duration, player = np.array([1.0, 2, 5, 6, 7, 9]), np.arange(6)
    found = compare_builds(duration, np.ones(6, bool), player, player >= 3, horizon=10.0)

    def excess(early):
        # Observed less expected deaths in the group, each death one of those still there; its square over the variance.
        share = [np.mean([p in early for p in range(k, 6)]) for k in range(6)]
        return (3 - sum(share)) ** 2 / sum(s * (1 - s) for s in share)

    splits = list(itertools.combinations(range(6), 3))
    as_far = sum(excess(s) >= excess((0, 1, 2)) - 1e-9 for s in splits)
    assert found.log_rank_p == as_far / len(splits)


def test_without_censoring_and_with_a_run_each_the_difference_is_students():
    rng = np.random.default_rng(4)
    one, other = rng.gamma(2, 1, 9), rng.gamma(2, 1.5, 9)
    for player, by_scipy in (
        (np.arange(18), stats.ttest_ind(other, one, equal_var=False)),
        (np.tile(np.arange(9), 2), stats.ttest_rel(other, one)),
    ):
        found = compare_builds(np.r_[one, other], np.ones(18, bool), player, np.arange(18) >= 9, horizon=99.0)
        assert found.difference_p == pytest.approx(by_scipy.pvalue)
        limits = by_scipy.confidence_interval()
        assert (found.difference.low, found.difference.high) == pytest.approx((limits.low, limits.high))


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 10_000), st.integers(4, 9), st.sampled_from([0.5, 0.8, 0.95]))
def test_an_interval_and_its_p_never_disagree(seed, players, level):
    rng = np.random.default_rng(seed)
    player = np.repeat(np.arange(players), rng.integers(1, 6, players))
    is_b = (player % 2 == 0) ^ (rng.random(player.size) < rng.choice([0, 0.4]))
    duration, died = rng.exponential(1 + is_b * rng.integers(0, 3)), rng.random(player.size) < 0.8
    found = compare_builds(duration, died, player, is_b, level=level, most=9)
    if found.difference.low is None:
        assert found.difference_p is None
    else:
        assert (found.difference_p < 1 - level) == (not found.difference.low <= 0 <= found.difference.high)


def test_crossover_compares_players_with_themselves():
    # Players differ by a factor of a hundred, the builds by about a tenth: only within players does it show.
    scale = np.geomspace(1, 100, 10)
    duration = np.r_[scale, scale + np.linspace(4, 6, 10)]
    found = compare_builds(duration, np.ones(20, bool), np.tile(np.arange(10), 2), np.arange(20) >= 10, horizon=200.0)
    assert found.players_both == 10 and found.difference.value == pytest.approx(5) and found.difference_p < 1e-6
    apart = compare_builds(duration, np.ones(20, bool), np.arange(20), np.arange(20) >= 10, horizon=200.0)
    assert apart.difference_p > 0.5


def test_one_build_or_one_player_a_build_gives_no_verdict():
    alone = compare_builds(np.ones(3), np.ones(3, bool), np.arange(3), np.zeros(3, bool))
    assert alone.difference.value is None and alone.log_rank_p is None
    two = compare_builds(np.array([1.0, 2.0]), np.ones(2, bool), np.arange(2), np.array([False, True]))
    assert two.difference.low is None


def test_bounces_are_told_by_button_and_run():
    press = np.array([0, 5_000, 100_000, 104_000, 106_000])
    lane, run = np.array([0, 0, 0, 1, 0]), np.ones(5)
    assert bounces(press, run, lane).tolist() == [False, True, False, False, True]
    assert not bounces(press, np.arange(5), lane).any()


def test_noise_at_rest_is_found_among_movement():
    rng = np.random.default_rng(2)
    hand = np.repeat(np.r_[rng.uniform(0, 4000, 40)], 16) + np.where(
        np.arange(640) % 48 < 16, np.arange(640) % 16 * 90, 0
    )
    noise = rest_noise(hand + rng.normal(0, 6, 640), np.zeros(640), 4095.0)
    assert noise.sd == pytest.approx(6, rel=0.15) and noise.windows >= 20 and noise.flicker > 0.9
    assert rest_noise(np.arange(100.0) * 50, np.zeros(100), 4095.0).sd is None
    # Held still for long, the noise is what was put in: 3,000 stretches tell it to a hundredth.
    still = rest_noise(2000 + rng.normal(0, 6, 24_000), np.zeros(24_000), 4095.0)
    assert still.sd == pytest.approx(6, rel=0.025)


def test_pixels_follow_the_input_or_say_nothing():
    rng = np.random.default_rng(2)
    raw = rng.uniform(0, 4095, 200)
    assert pixels_a_unit(raw, 150 * raw / 4095 + rng.normal(0, 1, 200)) == pytest.approx(150 / 4095, rel=0.02)
    assert pixels_a_unit(raw, rng.uniform(0, 150, 200)) is None
