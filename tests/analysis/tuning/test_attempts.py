"""Several attempts of one player, in games whose rates are known by heart: practice, and who plays no more."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.models.data import Segment
from analysis.models.staged_games.course import level_statistic
from analysis.models.staged_games.hazard import Priors
from analysis.models.staged_games.staged import fit_staged
from analysis.selection import Selection
from analysis.tuning.target_file import read_targets
from analysis.tuning_answers.staged_data import load_staged
from tests.analysis.levers.games import CLEAR_S, HAZARD, staged
from tests.analysis.playtest import GAME, Playtest, reader_of

ALIVE = np.exp(-HAZARD * CLEAR_S)  # one life: the chance to get through


def figures(model, text):
    return np.median(model.figures({}, read_targets(text).targets), axis=1)


def test_practice_makes_the_fourth_attempt_as_much_safer_as_is_taken():
    """Deaths fall with the attempts to the power of -0.18, which is all that is known of it where all played once."""
    text = "".join(
        f'[[target]]\noutcome="finish"\nname="{n}"\npopulation="attempt"\nattempt={n}\nwanted=0.5\n' for n in (1, 4)
    )
    first, fourth = figures(fit_staged(staged()), text)
    assert first == pytest.approx(ALIVE, abs=0.01)
    assert fourth == pytest.approx(ALIVE ** (4**-0.18), abs=0.025) and fourth > first + 0.03


@pytest.mark.parametrize("stopping", [0.0, 0.5, 1.0])
def test_who_finishes_within_three_tries_must_still_be_at_it(stopping):
    """Nobody learns, and the share `stopping` of those who failed plays no more: by hand over three tries."""
    data = staged()
    data = replace(data, counts=replace(data.counts, stops=stopping * data.counts.stop_chances))
    model = fit_staged(data, Priors(learning=(0.0, 1e-6)))
    failed = 1 - ALIVE
    by_hand = ALIVE * sum((failed * (1 - stopping)) ** n for n in range(3))
    (within,) = figures(model, '[[target]]\noutcome="finish_within"\nattempts=3\nwanted=0.5\n')
    assert within == pytest.approx(by_hand, abs=0.015)


def test_where_nobody_quit_no_more_quits_are_expected_than_without_any_opinion():
    """None of twelve: Jeffreys' prior, which says nothing, leaves a half in thirteen; people seldom give up."""
    data = staged()
    model = fit_staged(replace(data, counts=replace(data.counts, quit_chances=np.full(2, 12.0))))
    assert model.quit_first.mean() < 0.5 / 13 and model.quit_again.mean() < 0.5 / 13


def test_a_boss_lies_behind_its_stage():
    data = replace(staged(segments=2), segments=(Segment(1), Segment(1, 1)))
    stage, boss = ('[[target]]\noutcome="reach_stage"\nstage=1\nwanted=0.5\n', 'kind="boss"\n')
    assert figures(fit_staged(data), stage) == pytest.approx(1)
    assert figures(fit_staged(data), stage + boss) == pytest.approx(ALIVE, abs=0.01)


def test_who_quits_at_once_after_a_death_quits_because_of_it_and_who_plays_on_in_peace_does_not(tmp_path):
    test = Playtest()
    for who, alive_s in ((1, 1.0), (2, 1.0), (3, 10.0), (4, 20.0), (5, 25.0)):
        test.run(who, [5.0, alive_s], ending=2, last_died=False)
    tunables = [{"name": "lives", "role": "start_lives", "value": 3, "min": 1, "max": 9}]
    with test.study(tmp_path, tunables=tunables) as study:
        counts = load_staged(reader_of(study), Selection(GAME)).counts
    assert (counts.quits.tolist(), counts.leaves) == ([2, 0], 3)


def test_the_level_in_which_runs_end_by_hand():
    """Half end in level 3, a quarter each in 4 and 5: the mean is 3.75; a level is as wide as one, about its number."""
    segments = [Segment(n, is_level=True) for n in (3, 4, 5)]
    reach = np.array([1.0, 0.5, 0.25, 0.0])[:, None]
    words = '[[target]]\noutcome="level_reached"\nstatistic="{}"\n{}\nwanted=4\n'
    for statistic, more, wanted in (
        ("mean", "", 3.75),
        ("median", "", 3.5),
        ("quantile", "quantile=0.25", 3.0),
        ("quantile", "quantile=0.875", 5.0),
    ):
        (target,) = read_targets(words.format(statistic, more)).targets
        assert level_statistic(target, reach, segments) == pytest.approx([wanted])
