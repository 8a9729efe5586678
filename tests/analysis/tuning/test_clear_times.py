"""Clear times from visits to the chain: the time a player is at risk is the mean of the visits, not their median."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.models.data import Visits
from analysis.models.setting import rules
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
