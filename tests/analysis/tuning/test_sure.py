"""Which change may be recommended: likely better, hardly ever clearly worse, worth a new firmware."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom, norm

from analysis.models.data import Build, Tunable
from analysis.models.fitted import Fitted
from analysis.models.fitting.sampling import Sampling
from analysis.models.moves import Move
from analysis.models.observed import Observed
from analysis.models.targets import Changeable, Outcome, Statistic, Target
from analysis.tuning.proposal import Advice
from analysis.tuning.ranking import once, prediction, propose
from analysis.tuning.search import Against, Found, Search, against, misses, part_of
from ingest.vocabulary import Recruitment, TunableRole

FIRE = Tunable("fire", TunableRole.FIRE_PERIOD, 1000, 100, 4000, 10, "ms")
LIVES = Tunable("lives", TunableRole.START_LIVES, 3, 1, 9, 1, "lives")


def test_chances_and_gain_are_those_of_the_draws():
    wish = Target("finish", Outcome.FINISH, 0.5, 0.05)
    now = np.array([[0.60, 0.60, 0.60, 0.60]])
    seen = against([wish], now, np.array([[0.55, 0.60, 0.63, 0.615]]))
    assert seen.better == pytest.approx((1 + 0.5) / 4)
    assert seen.harm == pytest.approx(1 / 4)
    assert seen.gain == pytest.approx((0.05 - 0.03 - 0.015) / 4)
    assert seen.loss == pytest.approx((0.05 + 0.10 + 0.13 + 0.115 + 0.03 + 0.015) / 4)
    assert not seen.sure


@pytest.mark.parametrize(
    ("seen", "sure"),
    [
        (Against(loss=0.1, gain=0.03, better=0.9, harm=0.02), True),
        (Against(loss=0.1, gain=0.005, better=0.9, harm=0.02), False),  # half a point is no new firmware
        (Against(loss=0.1, gain=0.03, better=0.75, harm=0.02), False),
        (Against(loss=0.1, gain=0.03, better=0.9, harm=0.06), False),
        (Against(loss=0.1, gain=0.03, better=0.9, harm=0.02, small=True), False),
    ],
)
def test_each_limit_that_the_model_s_document_states_is_kept(seen, sure):
    """MODEL.md: four of five, one in twenty, a point."""
    assert seen.sure == sure


def test_few_draws_do_not_keep_out_what_many_may_find_sure():
    """3 of 60 draws are one in twenty, and 4 of 60 may be so of more; of 7 that is unlikely (binomial: 3 %)."""
    four, seven = (Against(loss=0.1, gain=0.03, better=0.9, harm=harmed / 60) for harmed in (4, 7))
    assert not four.sure and four.nearly and not seven.nearly
    assert binom.sf(6, 60, 0.05) < 0.05 < binom.sf(3, 60, 0.05)
    assert not replace(four, small=True).nearly and not replace(four, gain=0.0).nearly


def test_a_setting_stands_once_where_it_stood_first():
    """What may be recommended stays first, also where it is the best of its move as well."""
    sure, best, single = (Found((), {"lives": lives}, 0.1, 0.1) for lives in (4, 9, 4))
    assert once([sure, best, single]) == [sure, best]


def test_misses_of_several_targets_are_weighed_in_tolerances():
    """Weights 3 and 1: ten points off, where five are a tolerance, and 12 s off, where six are: two tolerances each
    way. A tolerance is five points."""
    share = Target("finish", Outcome.FINISH, 0.5, 0.05, weight=3)
    length = Target("length", Outcome.RUN_LENGTH, 60, 6, weight=1, statistic=Statistic.MEAN, unit="s")
    assert misses([share, length], np.array([[0.4], [72.0]])) == pytest.approx([0.1])
    assert misses([share, length], np.array([[0.4], [60.0]])) == pytest.approx([0.075])
    assert misses([share, length], np.array([[0.5], [72.0]])) == pytest.approx([0.025])
    # Of a share alone a point is a point, whatever the tolerance.
    assert misses([replace(share, tolerance=0.1)], np.array([[0.4]])) == pytest.approx([0.1])


def test_80_and_95_percent_of_a_normal_distribution_are_where_any_table_has_them():
    target = Target("length", Outcome.RUN_LENGTH, 60, 6, statistic=Statistic.MEAN, unit="s")
    said = prediction(norm.ppf((np.arange(4000) + 0.5) / 4000), target, 12)
    assert (said.low80, said.high80) == pytest.approx((-1.2816, 1.2816), abs=2e-3)
    assert (said.low95, said.value, said.high95) == pytest.approx((-1.96, 0, 1.96), abs=4e-3)


def test_the_next_counts_interval_is_the_binomials_where_nothing_else_is_in_doubt():
    target = Target("finish", Outcome.FINISH, 0.5, 0.05)
    for share, players in ((0.5, 12), (0.3, 20), (0.97, 9)):
        said = prediction(np.full(50, share), target, players)
        low, high = binom.ppf([0.1, 0.9], players, share) / players
        assert (said.next_low, said.next_high) == pytest.approx((low, high))


def test_part_of_a_change_can_be_held_and_lies_on_the_way():
    half = part_of([FIRE, LIVES], {"fire": 2000, "lives": 6}, 0.5)
    assert half == {"fire": 1410, "lives": 4}
    assert part_of([FIRE, LIVES], {"fire": 500}, 1.0) == {"fire": 500}
    assert part_of([FIRE, LIVES], {"fire": 1000}, 0.5) == {}


class _Line(Fitted):
    """The figure is `now` plus an uncertain effect times ln of the period, both normal: evenly spread draws."""

    method, players, runs = "m", 12, 36
    roles = (TunableRole.FIRE_PERIOD,)
    build = Build("1", "1", (FIRE,))
    sampling = Sampling(400, 400.0)

    def __init__(self, now: float, doubt: float, effect: float, spread: float):
        n = 400
        order = np.random.default_rng(3).permutation(n)
        even = norm.ppf((np.arange(n) + 0.5) / n)
        self._now, self._effect = now + doubt * even, effect + spread * even[order]

    def knows(self, target: Target) -> bool:
        return True

    def observed(self, target: Target) -> Observed:
        return Observed(None, 0, 0)

    def figures(self, setting, targets, quick=False):
        step = np.log(setting.get("fire", 1000) / 1000)
        drawn = np.clip(self._now + self._effect * step, 0, 1)
        return np.array([drawn[:: 4 if quick else 1] for _ in targets])


def _proposals(model):
    target = Target("finish", Outcome.FINISH, 0.5, 0.05)
    return propose(model, [target], Changeable(), "g", Recruitment.AUDIENCE)


def test_what_is_recommended_keeps_to_all_three_limits():
    for now, doubt, effect, spread in [(0.35, 0.08, 0.3, 0.1), (0.4, 0.06, 0.3, 0.3), (0.2, 0.1, 0.2, 0.05)]:
        for p in _proposals(_Line(now, doubt, effect, spread)):
            if p.advice == Advice.CHANGE:
                assert p.chance_better >= 0.8
                assert p.chance_worse <= 0.05


def test_a_smaller_step_is_recommended_where_the_best_in_expectation_is_too_doubtful():
    """Present 0.38 give or take 0.06, wanted 0.50: all the way may overshoot, part of it hardly can."""
    best, *others = _proposals(_Line(0.38, 0.06, 0.3, 0.05))
    assert best.advice == Advice.CHANGE
    doubtful = [p for p in others if p.advice == Advice.NOT_YET and p.changes]
    assert doubtful
    assert best.changes[0].proposed < doubtful[0].changes[0].proposed
    assert doubtful[0].chance_worse > 0.05
    assert "worse by over 2 points" in doubtful[0].settles_it


def test_nothing_is_recommended_where_even_the_direction_is_in_doubt():
    best = _proposals(_Line(0.43, 0.15, 0.3, 0.1))[0]
    assert best.advice != Advice.CHANGE


class _Two(_Line):
    """As _Line; a second tunable undoes half of what the first one does."""

    build = Build("1", "1", (FIRE, replace(FIRE, name="spikes")))
    roles = (TunableRole.FIRE_PERIOD,)

    def figures(self, setting, targets, quick=False):
        step = np.log(setting.get("fire", 1000) / 1000) - np.log(setting.get("spikes", 1000) / 1000) / 2
        return np.array([np.clip(self._now + self._effect * step, 0, 1) for _ in targets])


def test_no_value_is_recommended_that_were_better_left_alone():
    """A change too large for some audience is not made allowable by another that makes the game worse."""
    target = Target("finish", Outcome.FINISH, 0.6, 0.05)
    whole, hedged, smaller = {"fire": 3000}, {"fire": 3000, "spikes": 1500}, {"fire": 2000}
    search = Search(_Two(0.2, 0.02, 0.3, 0.03), [target], stands=lambda setting: setting != whole)
    assert search.miss(whole) < search.miss(hedged) < search.miss(smaller)
    assert search.confirmed(hedged).sure
    assert search.sure([]).setting == smaller


def test_what_one_move_turns_is_one_knob():
    """Both sides of a window are one knob, also where the move that turns one of them alone is known."""
    both = Move("window", ({"fire": 2000, "spikes": 2000}, {"fire": 3000, "spikes": 3000}), joint=True)
    search = Search(_Two(0.2, 0.02, 0.3, 0.03), [], moves=[Move("fire", ({"fire": 3000},)), both])
    assert search.knobs({"fire": 3000, "spikes": 3000}) == ("window",)
    assert search.knobs({"fire": 3000}) == ("fire",)
    assert Search(_Two(0.2, 0.02, 0.3, 0.03), []).knobs({"fire": 3000, "spikes": 3000}) == ("fire", "spikes")
    assert search.knobs({"fire": 1000}) == ()  # as it is
