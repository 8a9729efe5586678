"""Bias, spread, lapses, windows, truncation, polling, drift: each where the answer is known beforehand."""

import numpy as np
import pytest
from scipy import stats

from analysis.stats.players.ranks import median_of_players
from analysis.stats.rhythm.console_timing import compare_captures, lost_to_polling, polling_period_us
from analysis.stats.rhythm.hit_window import accuracy_curve, asymmetric_shares, hit_counts, needed_windows
from analysis.stats.rhythm.song_time import drift, passages, since_last_note_us
from analysis.stats.rhythm.timed_notes import group_medians, hits, nearest_error, time_notes
from analysis.stats.rhythm.timing_errors import errors_by_player
from analysis.stats.rhythm.truncated_normal import truncated_normal_fit
from analysis.stats.rhythm.truncation import edge_check, edge_checks, nothing_outside
from tests.analysis.timing.notes import timed_notes


def test_the_console_judges_press_minus_offset_minus_due_edges_included():
    """FORMAT.md, section 6."""
    notes = timed_notes([-30, 70, 71, -31, np.nan], early_ms=50, late_ms=50, offset_ms=20)
    assert notes.hit.tolist() == [True, True, False, False, False]
    assert not hits(np.array([0.0]), np.nan, np.nan)[0]


def test_bias_spread_and_lapses_of_a_player_by_hand():
    notes = timed_notes([-30, -20, -10, 0, np.nan, 10, 20, 30, 500, np.nan], stray_run=[0], stray_ms=[200])
    found = errors_by_player(notes)
    assert found.bias_us[0] == 5_000  # the median of -30 .. 30 and 500
    assert found.spread_us[0] == pytest.approx(20_000 / 0.67449, rel=1e-4)  # distances 5 5 15 15 25 25 35 495
    assert found.lapses[0] == pytest.approx(0.2)
    assert found.strays[0] == 10
    assert found.runs[0] == 1


def test_spread_is_the_standard_deviation_of_normal_errors_and_ignores_wild_presses():
    rng = np.random.default_rng(0)
    error = rng.normal(-20, 35, 20_000)
    error[::50] = rng.uniform(-300, 300, 400)
    found = errors_by_player(timed_notes(error))
    assert found.spread_us[0] == pytest.approx(35_000, rel=0.04)
    assert found.bias_us[0] == pytest.approx(-20_000, abs=800)


def test_neighbouring_errors_that_alternate_show_the_correlation_of_the_motor_model():
    """Wing & Kristofferson 1973: intervals of timekeeper + motor delays have a lag-1 correlation from -1/2 to 0. The
    asynchronies used here are white noise plus a moving average whose lag-1 correlation is -1/2 exactly."""
    rng = np.random.default_rng(1)
    motor = rng.normal(0, 10, 50_001)
    found = errors_by_player(timed_notes(np.diff(motor)))
    assert found.autocorrelation[0] == pytest.approx(-0.5, abs=0.02)


def test_neighbours_are_those_of_one_run():
    """Within each of two runs early and late alternate; the end of the one and the start of the other are alike."""
    notes = timed_notes([10.0, -10, -10, 10], player=np.zeros(4, int), run=np.array([1, 1, 2, 2]))
    assert errors_by_player(notes).autocorrelation[0] == pytest.approx(-1)


def test_hits_for_every_window_are_counted_not_estimated():
    rng = np.random.default_rng(2)
    # Whole milliseconds, of which some lie on an edge: both edges count.
    judged = np.r_[rng.normal(0, 40, 300).round(), np.full(20, np.nan)]
    player = rng.integers(0, 3, 320)
    early, late = np.array([0.0, 20, 50, 90]), np.array([10.0, 20, 40, 200])
    counted, trials = hit_counts(judged, player, 3, early, late)
    for p in range(3):
        own = judged[player == p]
        assert trials[p] == len(own)
        for w in range(4):
            assert counted[p, w] == sum(-early[w] <= e <= late[w] for e in own)


def test_the_curve_rises_to_one_minus_the_lapses_and_its_interval_holds_the_share():
    rng = np.random.default_rng(3)
    player = np.repeat(np.arange(8), 100)
    error = rng.normal(0, 30, 800)
    error[::10] = np.nan
    curve = accuracy_curve(timed_notes(error, player=player), np.array([0, 20e3, 40e3, 80e3, 300e3]))
    assert (np.diff(curve.share) >= 0).all()
    assert curve.share[-1] == 0.9
    assert (curve.low <= curve.share).all()
    assert (curve.share <= curve.high).all()
    assert curve.by_player.shape == (8, 5)


def test_late_players_are_caught_by_the_late_edge_only():
    share = asymmetric_shares(timed_notes([30, 35, 40, 45]), np.array([0, 60e3]), np.array([0, 60e3]))
    assert share.tolist() == [[0, 1], [0, 1]]


@pytest.mark.parametrize("offset", [0, 15])
@pytest.mark.parametrize("logged", ["all", "hits"])
def test_a_console_that_withholds_misses_is_found_out_and_an_honest_one_is_not(logged, offset):
    rng = np.random.default_rng(4)
    error = rng.normal(offset, 40, 1500)
    if logged == "hits":
        error[np.abs(error - offset) > 50] = np.nan
    found = edge_checks(timed_notes(error, offset_ms=offset))
    assert [found["early"].cut, found["late"].cut] == [logged == "hits"] * 2


def test_presses_that_end_well_inside_the_window_are_no_sign_of_a_cut():
    rng = np.random.default_rng(5)
    found = edge_checks(timed_notes(rng.normal(0, 12, 3000)))
    assert not found["early"].cut
    assert not found["late"].cut


def test_strays_beyond_the_window_show_that_misses_are_logged():
    assert edge_check(np.r_[np.full(40, 49.0), np.full(20, 55.0)], np.full(60, 50.0), 0.5).cut is False
    assert edge_check(np.full(40, 49.0), np.full(40, 50.0), 0.5).cut is True


def test_false_alarms_of_the_edge_check_are_as_rare_as_it_says():
    rng = np.random.default_rng(6)
    alarms = 0
    for _ in range(300):
        width = rng.uniform(20, 120)
        error = rng.normal(0, 40, 600)
        found = edge_checks(timed_notes(error, early_ms=width, late_ms=width))
        alarms += found["early"].cut or found["late"].cut
    assert alarms <= 3


@pytest.mark.parametrize("window", [60.0, 40.0])
def test_the_truncated_fit_recovers_what_the_window_cut_off(window):
    rng = np.random.default_rng(7)
    error = rng.normal(10, 40, 40_000)
    seen = error[np.abs(error) <= window]
    found = truncated_normal_fit(seen, -window, window)
    assert found.spread_us == pytest.approx(40, rel=0.06)
    assert found.mean_us == pytest.approx(10, abs=2)
    assert found.inside == pytest.approx(len(seen) / len(error), abs=0.03)
    # scipy's truncated normal gives the best fit no better likelihood.
    a, b = (-window - found.mean_us) / found.spread_us, (window - found.mean_us) / found.spread_us
    own = stats.truncnorm.logpdf(seen, a, b, found.mean_us, found.spread_us).sum()
    for mean, spread in [(found.mean_us + 1, found.spread_us), (found.mean_us, found.spread_us * 1.03)]:
        a, b = (-window - mean) / spread, (window - mean) / spread
        assert stats.truncnorm.logpdf(seen, a, b, mean, spread).sum() < own


@pytest.mark.parametrize("period", [5_000.0, 16_667.0, 33_333.0])
def test_the_polling_period_is_read_from_the_presses(period):
    rng = np.random.default_rng(8)
    press = np.cumsum(rng.uniform(200e3, 600e3, 400))
    seen = np.rint(np.ceil(press / period) * period / 1000) * 1000  # ticks of 1 ms
    found = polling_period_us(seen, np.zeros(400))
    assert found is not None
    assert found == pytest.approx(period, rel=0.01)


def test_free_hands_show_no_polling_period():
    rng = np.random.default_rng(9)
    assert polling_period_us(np.rint(np.cumsum(rng.uniform(200e3, 600e3, 400)) / 1000) * 1000, np.zeros(400)) is None
    assert polling_period_us(np.arange(5), np.zeros(5)) is None


def test_verdicts_lost_to_polling_agree_with_a_replay_without_polling():
    rng = np.random.default_rng(10)
    true = rng.normal(0, 40e3, 200_000)
    seen = true + rng.uniform(0, 17e3, len(true))
    inside, inside_seen = np.abs(true) <= 50e3, np.abs(seen) <= 50e3
    lost, gained = lost_to_polling(seen, np.full(len(seen), 50e3), np.full(len(seen), 50e3), 17e3)
    # Backwards from what was seen the delay is even only where errors are; the density falls a little over 17 ms.
    assert lost == pytest.approx((inside & ~inside_seen).mean(), rel=0.15)
    assert gained == pytest.approx((~inside & inside_seen).mean(), rel=0.15)


def test_a_console_that_lags_is_told_where_the_same_players_tried_both():
    rng = np.random.default_rng(11)
    own = rng.normal(-20e3, 30e3, 8)
    bias = np.r_[own, own + 20e3 + rng.normal(0, 3e3, 8)]
    player, capture = np.tile(np.arange(8), 2), np.repeat([0, 1], 8)
    found = compare_captures(bias, player, capture, 2)
    assert (found.how, found.highest, found.lowest) == ("within", 1, 0)
    apart = found.difference
    assert apart.low is not None and apart.high is not None
    assert apart.low < 20e3 < apart.high
    assert apart.high - apart.low < 10e3
    # Different players on each: the same lag drowns in their habits.
    between = compare_captures(bias, np.arange(16), capture, 2)
    assert between.how == "between"
    wide = between.difference
    assert wide.low is not None and wide.high is not None
    assert wide.high - wide.low > 30e3
    assert compare_captures(bias[:2], np.arange(2), np.arange(2), 2).how == ""


def test_runs_of_different_level_and_length_make_no_drift():
    """A short run 20 ms late and a long one on time, each as late at its end as at its start."""
    wobble = np.array([10.0, -10, -10, 10])
    error = np.r_[20 + np.tile(wobble, 2), np.tile(wobble, 10)]
    due = 500.0 * np.r_[np.arange(8), np.arange(40)]
    run = np.repeat([1, 2], [8, 40])
    found = drift(timed_notes(error, player=np.zeros(48, int), run=run, due_ms=due), 0)
    assert found.own_ppm == pytest.approx([0], abs=1e-6)


def test_drift_is_in_parts_per_million():
    rng = np.random.default_rng(12)
    due = np.tile(np.arange(200) * 500.0, 6)
    player = np.repeat(np.arange(6), 200)
    error = rng.normal(-20, 10, 1200) + 300e-6 * due
    found = drift(timed_notes(error, player=player, due_ms=due), 0)
    assert found.ppm.low is not None and found.ppm.high is not None and found.ppm.value is not None
    assert found.ppm.value == pytest.approx(300, abs=40)
    assert found.ppm.low < 300 < found.ppm.high
    assert found.length_s == pytest.approx(99.5)


def test_time_since_the_note_before_counts_from_before_the_chord_and_not_across_runs():
    notes = timed_notes([0] * 6, run=[1, 1, 1, 1, 2, 2], due_ms=[0, 400, 400, 900, 950, 1000])
    np.testing.assert_array_equal(since_last_note_us(notes), [np.nan, 400e3, 400e3, 500e3, np.nan, 50e3])


def test_passages_cover_the_song_and_no_other():
    notes = timed_notes(
        [0] * 40, song=np.repeat([0, 1], 20), run=np.repeat([0, 1], 20), due_ms=np.tile(np.arange(20) * 1000, 2)
    )
    edges, number = passages(notes, 0)
    assert (number[20:] == -1).all()
    assert number[:20].min() == 0
    assert number[:20].max() == len(edges) - 2


def test_a_constant_latency_of_half_the_distance_between_notes_does_not_pair_presses_with_their_neighbours():
    due = np.arange(1, 60) * 300_000
    press = np.delete(due + 140_000, 20)
    error, _, _ = time_notes(np.zeros(59), np.zeros(59), due, np.zeros(58), np.zeros(58), press, np.zeros(59), 300_000)
    assert np.isnan(error[20])
    assert (error[~np.isnan(error)] == 140_000).all()


def test_lanes_count_only_where_both_name_them():
    due, press = np.array([0, 1000]), np.array([10, 1010])
    run = np.zeros(2)
    apart, stray, _ = time_notes(run, np.array([0.0, 1.0]), due, run, np.array([1.0, 0.0]), press, np.zeros(2), 300)
    assert np.isnan(apart).all()
    assert len(stray) == 2
    unnamed, _, _ = time_notes(run, np.array([0.0, 1.0]), due, run, np.full(2, np.nan), press, np.zeros(2), 300)
    assert unnamed.tolist() == [10, 10]


def test_nearest_note_of_a_stray_press_is_of_its_own_chain():
    found = nearest_error(
        np.array([100, 900, 130]), np.array([0, 0, 1]), np.array([140, 10, 60, 5]), np.array([0, 0, 1, 7])
    )
    np.testing.assert_array_equal(found, [40, -90, -70, np.nan])


def test_group_medians_of_even_odd_and_empty_groups():
    found = group_medians(np.array([0, 0, 0, 2, 2, 1]), np.array([3.0, 1.0, 9.0, 4.0, 6.0, np.nan]), 4)
    np.testing.assert_array_equal(found, [3, np.nan, 5, np.nan])


def test_of_a_window_far_from_the_presses_nothing_outside_tells_that_they_are_withheld():
    """Some twenty presses of a thousand fall in it: too few for the check of its edges, but not one lies outside."""
    rng = np.random.default_rng(3)
    error = rng.normal(70, 28, 1000)
    inside = np.where(np.abs(error) <= 15, error, np.nan)
    withheld = timed_notes(inside, early_ms=15, late_ms=15)
    assert not any(check.cut for check in edge_checks(withheld).values())
    assert nothing_outside(withheld)
    assert not nothing_outside(timed_notes(error, early_ms=15, late_ms=15))
    # One tick beyond the edge may be rounding.
    assert nothing_outside(timed_notes(np.r_[inside, 15.9], early_ms=15, late_ms=15))


def test_the_needed_window_of_each_player_is_read_from_the_presses():
    error = np.r_[np.arange(1, 21), np.full(20, np.nan)]
    notes = timed_notes(error, player=np.repeat([0, 1], 20))
    assert needed_windows(notes, 0.85).tolist() == [17_000, np.inf]


def test_the_median_player_and_its_interval_of_order_statistics():
    """Of ten values the second to the ninth hold the median in 1 - 2 * 11 / 1024 of the playtests (binomial of 1/2)."""
    ten = median_of_players(np.arange(10.0, 110, 10))
    assert (ten.value, ten.low, ten.high, ten.players) == (60, 20, 90, 10)
    assert median_of_players(np.array([3.0, 1, 2, np.nan])).low is None
    never = median_of_players(np.array([1.0, 2, 3, 4, np.inf, np.inf]))
    assert (never.value, never.low, never.high) == (4, 1, None)
    rng = np.random.default_rng(1)
    held = [median_of_players(rng.lognormal(0, 1, 15)) for _ in range(1500)]
    covered = np.mean([e.low <= 1 <= e.high for e in held])
    assert covered == pytest.approx(1 - 2 * stats.binom.cdf(3, 15, 0.5), abs=0.015)


@pytest.mark.parametrize("notes_a_run", [(60, 60, 60), (120, 60, 30, 60, 60)])
def test_the_interval_of_a_players_own_bias_holds_where_runs_differ(notes_a_run):
    """The player is 15 ms earlier or later from run to run, and scatters by 30 ms in each; 0 is the truth."""
    rng = np.random.default_rng(14)
    run = np.repeat(np.arange(len(notes_a_run)), notes_a_run)
    held = single = 0
    for _ in range(400):
        error = rng.normal(0, 30, run.size) + rng.normal(0, 15, run.max() + 1)[run]
        found = errors_by_player(timed_notes(error, run=run))
        held += bool(found.bias_low_us[0] <= 0 <= found.bias_high_us[0])
        # Each note taken as a look of its own: this is what would be false.
        single += abs(found.bias_us[0]) <= 1.96 * found.spread_us[0] * np.sqrt(np.pi / 2 / run.size)
    assert 0.91 * 400 <= held <= 0.99 * 400
    assert single < 0.7 * 400


def test_a_single_run_says_nothing_of_how_a_bias_changes():
    found = errors_by_player(timed_notes(np.random.default_rng(15).normal(0, 30, 80), run=np.zeros(80, int)))
    assert np.isnan(found.bias_low_us[0]) and np.isnan(found.bias_high_us[0]) and np.isfinite(found.bias_us[0])
