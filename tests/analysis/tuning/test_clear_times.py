"""Clear times from visits to the chain: the time a player is at risk is the mean of the visits, not their median."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from analysis.models.data import Visits
from analysis.models.setting import rules
from analysis.models.staged_games.clear_times import TimePriors, fit_times
from analysis.models.staged_games.staged import fit_staged
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.tuning_answers.staged_data import load_staged
from ingest.study.store import open_study


def test_the_chain_plays_the_mean_time_of_widely_spread_visits(played):
    """Log-normal times with a spread of 0.6: the mean is 20 % above the median, and so are the deaths to expect."""
    with open_study(played) as study:
        data = load_staged(Reader(study.connection), Selection("Soot Drift"))
    rng, segments, each = np.random.default_rng(8), len(data.segments), 300
    segment = np.repeat(np.arange(segments), each)
    alive_s = 30 * np.exp(0.6 * rng.standard_normal(len(segment)))
    visits = Visits(
        player=rng.integers(0, len(data.players), len(segment)),
        build=np.full(len(segment), data.current),
        segment=segment,
        tier=np.zeros(len(segment)),
        alive_s=alive_s,
        cleared=np.ones(len(segment), dtype=bool),
    )
    model = fit_staged(replace(data, visits=visits))
    course = model.course(rules(model.tunables, data.segments, {}), attempt=1)
    played_s = model.average(course.clear_s[:, 0]).mean(axis=1)
    seen_s = np.array([alive_s[segment == j].mean() for j in range(segments)])
    assert played_s == pytest.approx(seen_s, rel=0.05)
    assert seen_s.mean() == pytest.approx(30 * np.exp(0.6**2 / 2), rel=0.05)


# Priors that say next to nothing.
FLAT = TimePriors((3.0, 50.0), 50.0, (0.0, 50.0), (0.0, 50.0), (0.0, 50.0), (0.25, 1e-6))


def fitted(alive_s, cleared, tier=None, boss=0):
    """Draws for visits of one segment by players who are alike."""
    zero = np.zeros(len(alive_s))
    return fit_times(
        zero.astype(int),
        np.array([boss]),
        zero if tier is None else tier,
        {},
        zero,
        alive_s,
        cleared,
        FLAT,
        4000,
        np.random.default_rng(1),
    )


def test_broken_off_visits_are_censored_as_scipy_does():
    """Log-normal times of which 60 % were broken off: mean and spread by scipy's fit of a censored normal sample."""
    rng = np.random.default_rng(9)
    whole, broken = 30 * np.exp(0.5 * rng.standard_normal(400)), rng.uniform(5, 50, 400)
    alive_s, cleared = np.minimum(whole, broken), whole <= broken
    theirs = stats.norm.fit(stats.CensoredData(np.log(alive_s[cleared]), right=np.log(alive_s[~cleared])))
    assert cleared.mean() < 0.45 and np.exp(np.mean(np.log(alive_s))) < 20
    ours = fitted(alive_s, cleared)
    assert (np.median(ours.level), np.median(ours.spread)) == pytest.approx(theirs, rel=0.02)
    # As sure as the likelihood is: its curvature at the top, by differences.
    mean, spread = theirs

    def likelihood(at):
        z = (np.log(alive_s) - at) / spread
        return stats.norm.logpdf(z[cleared]).sum() + stats.norm.logsf(z[~cleared]).sum()

    curvature = (likelihood(mean + 0.01) - 2 * likelihood(mean) + likelihood(mean - 0.01)) / 0.01**2
    assert ours.level.std() == pytest.approx(1 / np.sqrt(-curvature), rel=0.06)


@pytest.mark.parametrize("boss", [0, 1])
def test_a_better_weapon_is_as_much_quicker_as_it_was(boss):
    tier = np.tile([0.0, 1, 2], 60)
    wobble = np.repeat(np.linspace(-0.05, 0.05, 60), 3)
    ours = fitted(30 * np.exp(-0.2 * tier + wobble), np.ones(180, bool), tier, boss)
    power = ours.power_boss if boss else ours.power
    assert np.median(power) == pytest.approx(0.2, abs=0.01)
