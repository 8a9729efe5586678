"""The plain rules against what comes out by hand."""

import numpy as np
import pytest
from scipy import stats

from analysis.models.data import Build, Cells, Counts, Runs, Segment, StagedData, Tunable, Visits
from analysis.tuning.target_file import read_targets
from tests.closed_loop.tuning.plain_rules import observed_ratio, pooled_figures, pooled_hazards, scaled

LIVES = Tunable("lives", "start_lives", 3, 1, 9, 1)
FIRE = Tunable("fire_1", "fire_period", 1000, 100, 2500, 10, "ms", stage=1)
FIRE_2 = Tunable("fire_2", "fire_period", 500, 100, 4000, 10, "ms", stage=2)


def target(words):
    return read_targets(f"[[target]]\n{words}\n").targets[0]


SECOND = 'outcome="reach_stage"\nstage=2\nwanted='


def playtest(reached, players=10, deaths=20, alive_s=400.0, quits=0, stops=0):
    """One run each; all deaths fall in stage 1, which is cleared in 40 s; each player lost at most three lives."""
    who = np.arange(players)
    furthest = (who < reached).astype(int)
    none = np.zeros(players, dtype=bool)
    zero = np.zeros(players, dtype=int)
    cleared = furthest.astype(bool)
    return StagedData(
        game="Well",
        segments=(Segment(1), Segment(2)),
        players=tuple(f"P{n}" for n in who),
        builds=(Build("a", "1", (LIVES, FIRE, FIRE_2)),),
        current=0,
        runs=Runs(who, zero + 1, zero, zero + 1, furthest, np.full(players, 40.0), zero + 3, none, none, none, none),
        cells=Cells(
            who,
            zero + 1,
            zero,
            zero,
            zero,
            none,
            none,
            np.full(players, alive_s / players),
            np.full(players, deaths / players),
            np.ones(players),
        ),
        visits=Visits(who, zero, zero, np.zeros(players), np.where(cleared, 40.0, 9.0), cleared),
        counts=Counts(
            np.zeros(2),
            np.zeros(2),
            (0, 0),
            np.array([quits, 0]),
            np.array([10, 10]),
            np.array([[stops, 0, 0], [0, 0, 0]]),
            np.array([[10, 0, 0], [0, 0, 0]]),
            0.0,
            alive_s,
        ),
        start_tier=0,
        tiers=1,
        finish_known=True,
        lives_seen=3,
    )


def test_the_ratio_of_the_shares_is_that_of_the_periods():
    """6 of 10 are wanted and 4 got there: fire 1.5 times as slowly; nobody counts as half a run."""
    assert observed_ratio(playtest(4), target(f"{SECOND}0.6")) == {"fire_1": 1500, "fire_2": 750}
    assert observed_ratio(playtest(8), target(f"{SECOND}0.4")) == {"fire_1": 500, "fire_2": 250}
    assert observed_ratio(playtest(0), target(f"{SECOND}0.1")) == {"fire_1": 2000, "fire_2": 1000}


def test_a_factor_keeps_within_what_the_firmware_holds_and_the_search_may_do():
    assert scaled((LIVES, FIRE, FIRE_2), 3.0) == {"fire_1": 2500, "fire_2": 1500}
    assert scaled((FIRE_2,), 100.0) == {"fire_2": 2000}


def test_pooled_rates_give_poisson_deaths():
    """20 deaths in 400 s, 40 s to clear: two deaths are expected, and three lives must last."""
    here, slower = pooled_figures(playtest(6), target(f"{SECOND}0.6"), [{}, {"fire_1": 2000}])
    assert here == pytest.approx(stats.poisson.cdf(2, 2), abs=0.008)
    assert slower == pytest.approx(stats.poisson.cdf(2, 1), abs=0.008)


def test_the_pooled_rule_moves_all_periods_until_the_wish_is_met():
    """At half the rate of fire one death is expected."""
    wanted = stats.poisson.cdf(2, 1)
    setting = pooled_hazards(playtest(6), target(f"{SECOND}{wanted:.4f}"))
    assert setting["fire_1"] == pytest.approx(2000, rel=0.025)
    assert setting["fire_2"] == pytest.approx(1000, rel=0.025)


def test_where_nobody_died_nothing_is_changed():
    assert pooled_hazards(playtest(10, deaths=0), target(f"{SECOND}0.6")) == {"fire_1": 1000, "fire_2": 500}


def test_tries_are_repeated_by_those_who_do_not_give_up():
    """Stage 2, which nobody died in, is as dangerous as both together; 2 of 10 give up after a game over."""
    data = playtest(6, stops=2)
    once = float(pooled_figures(data, target('outcome="finish"\nwanted=0.5'), [{}])[0])
    assert once == pytest.approx(stats.poisson.cdf(2, 4), abs=0.012)
    thrice = pooled_figures(data, target('outcome="finish_within"\nattempts=3\nwanted=0.5'), [{}])[0]
    again = 0.8 * (1 - once)
    assert thrice == pytest.approx(once * (1 + again + again**2))


def test_who_quits_at_a_death_does_not_get_there():
    """Half of those quit who die for the first time: P(none) + P(one or two) / 2."""
    share = pooled_figures(playtest(6, quits=5), target(f"{SECOND}0.6"), [{}])[0]
    dead = stats.poisson.pmf([0, 1, 2], 2)
    assert share == pytest.approx(dead[0] + dead[1:].sum() / 2, abs=0.01)
