"""The model of hands piece by piece, against scipy's distributions and by hand."""

import numpy as np
import pytest
from scipy import special, stats

from analysis.models.rhythm_games.hands import HandsPriors, LoggedNotes
from analysis.models.rhythm_games.hands_sampler import _draw_precision, fit
from analysis.models.rhythm_games.note_cells import NoteCells
from analysis.models.rhythm_games.rhythm import RhythmModel, _logged
from tests.analysis.timing.notes import timed_notes
from tests.analysis.timing.test_proposal import hands, tunables


def test_the_likelihood_of_logged_and_withheld_presses_is_students():
    """Four notes of one player, of which two were logged between -50 and 60 ms: scipy's t, shifted and scaled."""
    error = np.array([-20.0, 35.0, np.nan, np.nan])
    alike, all_ms = np.zeros(4, int), np.ones(4)
    cells = NoteCells(LoggedNotes(alike, alike, all_ms, error, -50 * all_ms, 60 * all_ms, 1, 1, np.zeros(1, bool)))
    mu, log_sigma, logit, freedom = np.array([5.0]), np.array([np.log(40.0)]), np.array([-2.0]), 4.0
    law = stats.t(freedom, 5, 40)
    shape = cells.shape_terms(mu, log_sigma, freedom)
    assert shape == pytest.approx([law.logpdf(error[:2]).sum()])
    # A press that came is no lapse; nothing logged is a lapse, or a press before or after the range.
    lapse, outside = special.expit(-2.0), law.cdf(-50) + law.sf(60)
    presence = cells.presence_terms(mu, log_sigma, logit, freedom)
    assert presence == pytest.approx([2 * np.log(1 - lapse) + 2 * np.log(lapse + (1 - lapse) * outside)])


def test_how_much_hands_differ_is_learnt_from_many_of_them():
    """2,000 players drawn from a known covariance outweigh the prior: its draws lie about it."""
    rng = np.random.default_rng(2)
    root = np.array([[30.0, 0, 0], [0.1, 0.5, 0], [-0.2, 0.3, 1.0]])
    away = rng.standard_normal((2000, 3)) @ root.T
    drawn = [np.linalg.inv(_draw_precision(away, HandsPriors(), rng)) for _ in range(50)]
    scale = np.sqrt(np.diag(root @ root.T))
    assert np.mean(drawn, axis=0) / np.outer(scale, scale) == pytest.approx(
        root @ root.T / np.outer(scale, scale), abs=0.08
    )


def test_a_press_was_logged_where_the_console_judged_it_a_hit():
    """An offset of 20 ms with edges of 50 early and 70 late: presses from 30 ms before to 90 ms after the note."""
    notes = timed_notes([-40.0, -20.0, 80.0, 95.0], early_ms=50.0, late_ms=70.0, offset_ms=20.0)
    logged = _logged(notes, cut=True)
    assert (logged.low_ms[0], logged.high_ms[0]) == (-30, 90)
    assert np.isnan(logged.error_ms).tolist() == [True, False, False, True]


def test_later_attempts_are_as_much_steadier_as_practice_is_taken_to_make_them():
    """Spread and the odds of a lapse go with a power of the attempts, draw by draw."""
    error, player, song = hands(players=6, notes=40)
    model = RhythmModel(timed_notes(error, player=player, song=song), tunables(), "1.0")
    (_, per_sigma, present), (_, per_sigma_4, present_4) = (model._hands_of(0, attempt, True) for attempt in (1, 4))
    draws = np.linspace(0, len(model.posterior.mean) - 1, len(per_sigma)).astype(int)
    on_spread, on_lapses = (model.posterior.learning[draws][:, [n]] for n in (0, 1))
    assert per_sigma_4 / per_sigma == pytest.approx(np.broadcast_to(4**-on_spread, per_sigma.shape))
    odds, odds_4 = ((1 - p) / p for p in (present, present_4))
    assert odds_4 / odds == pytest.approx(np.broadcast_to(4**on_lapses, odds.shape))


@pytest.mark.parametrize("seed", [1, 2])
def test_where_presses_are_withheld_the_draws_are_worth_more_than_a_few(seed):
    """A third of the errors is cut off: spread, lapses and tails make up for each other. A chain that moves them
    one at a time is worth 5 to 9 independent draws here, one that moves them together 40 to 70."""
    rng = np.random.default_rng(seed)
    player = np.repeat(np.arange(10), 80)
    error = rng.normal(0, 10, 10)[player] + 35 * np.exp(rng.normal(0, 0.3, 10))[player] * rng.standard_t(5, 800)
    error[(rng.random(800) < 0.08) | (abs(error) > 35)] = np.nan
    alike, edge = np.zeros(800, int), np.full(800, 35.0)
    found = fit(LoggedNotes(player, alike, alike + 1, error, -edge, edge, 10, 1, np.zeros(10, bool)), seed)
    assert found.sampling.effective > 25
    assert found.split < 1.15


def test_what_one_note_does_not_tell_stays_as_it_was_thought_to_be():
    """Against the priors: a normal mean of lapses, and between players variances of an inverse Wishart with weight 3,
    which are inverse gamma (Gelman et al. 2013, Bayesian Data Analysis, appendix A)."""
    one, priors = np.zeros(1, int), HandsPriors()
    note = LoggedNotes(one, one, one + 1, one + 5.0, one - 300.0, one + 300.0, 1, 1, np.zeros(1, bool))
    found = fit(note, burn=300, keep=3000, draws=1500)
    lapses = (found.mean[:, 2] - priors.mean[2]) / priors.mean_sd[2]
    assert lapses.mean() == pytest.approx(0, abs=0.25)
    assert lapses.std() == pytest.approx(1, abs=0.2)
    between = np.linalg.norm(found.root, axis=2) / priors.between
    for share in (0.25, 0.5, 0.75):
        thought = np.sqrt(stats.invgamma(2, scale=1.5).ppf(share))
        assert np.quantile(between, share, axis=0) == pytest.approx(np.full(3, thought), rel=0.12)


def test_a_console_that_withholds_presses_leaves_a_doubt_in_how_the_hands_go_on():
    """In ln spread 0.2 of the share of notes of which nothing was logged, common to the class, so that no number of
    players makes it less; none where every press was logged."""
    error, player, song = hands(players=6, notes=40)
    cut = np.where(abs(error) > 40, np.nan, error)
    notes = [timed_notes(own, player=player, song=song, early_ms=40, late_ms=40) for own in (cut, error)]
    withheld, logged = (RhythmModel(own, tunables(), "1.0", cut=own is notes[0]) for own in notes)
    assert withheld._form.std() == pytest.approx(0.2 * np.isnan(cut).mean(), rel=0.02)
    assert withheld._form.mean() == pytest.approx(0, abs=1e-9)
    assert not logged._form.any()


def test_no_window_hits_a_note_that_was_left_out():
    """Spread 40 ms, one note in five left out: 200 ms on either side hold every press and no more than the presses."""
    error, player, song = hands(players=8, notes=60, lapse=0.2)
    model = RhythmModel(timed_notes(error, player=player, song=song), tunables(), "1.0")
    share = model.song_hits(0, 1, model.in_force(0, {"window_early": 200, "window_late": 200}), True)
    assert share.mean() == pytest.approx(1 - np.isnan(error).mean(), abs=0.03)
