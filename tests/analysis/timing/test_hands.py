"""The model of hands piece by piece, against scipy's distributions and by hand."""

import numpy as np
import pytest
from scipy import special, stats

from analysis.models.rhythm_games.hands import HandsPriors, LoggedNotes
from analysis.models.rhythm_games.hands_sampler import _draw_precision
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
