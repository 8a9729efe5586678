"""Games whose deaths are more regular than chance has them: the worlds against closed forms, and a prediction."""

from dataclasses import replace
from math import gamma

import numpy as np
import pytest
from scipy import stats

from analysis.models.staged_games.staged import fit_staged
from analysis.models.targets import Outcome, Target
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.tuning_answers.staged_data import load_staged
from ingest.study.store import import_log, open_study
from tests.closed_loop.tuning.course_worlds import draw_regular, play_course
from tests.closed_loop.tuning.logs import write_log

CHANCE = 0.55  # of dying at a place


def alike(seed: int):
    """A world of that seed in which everybody is alike, stays so, and never gives up; clear times do not vary."""
    world = draw_regular(seed)
    even = {name: 0.0 for name in ("skill_sd", "learn", "learn_sd", "fatigue", "clear_sd")}
    return replace(world, truth={**world.truth, **even, "stop": -50.0, "quit": -50.0})


def one_place_each(at: float = 0.5):
    """One place a segment, each met once."""
    world = alike(2000)
    n = world.truth["n"]
    places = {"place": [np.array([at])] * n, "gate": [np.array([np.log(CHANCE / (1 - CHANCE))])] * n}
    assert world.truth["fixed"] and n == 6
    return replace(world, truth={**world.truth, **places})


def finishing(world, lives, people, seed=1):
    setting = {**world.now, "start_lives": lives, "refill": 0}
    return play_course(world, people, 1, setting, np.random.default_rng(seed)).finished[0].mean()


@pytest.mark.parametrize("lives", [1, 3, 5])
def test_places_that_are_met_once_are_binomial(lives):
    exact = stats.binom.cdf(lives - 1, 6, CHANCE)
    assert finishing(one_place_each(), lives, 20_000) == pytest.approx(exact, abs=0.015)


def test_a_life_in_a_segment_is_weibulls():
    """One life through the first segment, whose mean waiting time is as long as it takes."""
    world = alike(2002)
    world = replace(world, truth={**world.truth, "level": -np.log(world.truth["clear_s"])})
    assert world.truth["weibull"] and world.truth["shape"] == 3
    out = play_course(world, 20_000, 1, {**world.now, "start_lives": 1}, np.random.default_rng(2))
    assert (out.furthest[0] >= 1).mean() == pytest.approx(np.exp(-(gamma(4 / 3) ** 3)), abs=0.015)


def said_with_five_lives(tmp_path, world, wish, without_age=False):
    """The mean of what three playtests of 30 people with three lives say of five; of one the luck would be more than
    what is tested."""
    setting, said = {**world.now, "start_lives": 3, "refill": 0}, []
    for n in range(3):
        out = play_course(world, 30, 2, setting, np.random.default_rng(n), record=True)
        write_log(tmp_path / f"{n}.playlog", world, setting, out)
        with open_study(tmp_path / f"{n}.duckdb") as study:
            import_log(study, tmp_path / f"{n}.playlog")
            data = load_staged(Reader(study.connection), Selection("Soot Drift"), None, 2)
        if without_age:
            data = replace(data, cells=replace(data.cells, age=np.ones_like(data.cells.age)))
        said.append(np.median(fit_staged(data).figures({"start_lives": 5}, [wish])))
    return np.mean(said)


def test_two_lives_more_where_no_place_kills_twice(tmp_path):
    """Three lives were played, five are asked for; the truth is binomial, and Poisson deaths of the same mean would
    give 0.76. The places are late: with early ones the rate says too much (MEASURED.md)."""
    said = said_with_five_lives(tmp_path, one_place_each(at=0.85), Target("finish", Outcome.FINISH, 0.5, 0.05))
    assert stats.poisson.cdf(4, 6 * CHANCE) < 0.77
    assert said == pytest.approx(stats.binom.cdf(4, 6, CHANCE), abs=0.045)


def test_two_lives_more_where_danger_builds_up_with_each_life(tmp_path):
    """Weibull's times to a death, shape 3, several in a segment: with three lives a tenth finishes, with five 60 %.

    An even danger takes the harmless beginning of each life for safety, and says 7 points too much.
    """
    world, wish = alike(2010), Target("finish", Outcome.FINISH, 0.5, 0.05)
    truth = finishing(world, 5, 20_000)
    assert not world.truth["fixed"] and truth > 0.5 > 0.15 > finishing(world, 3, 20_000)
    assert said_with_five_lives(tmp_path, world, wish) == pytest.approx(truth, abs=0.035)
    assert said_with_five_lives(tmp_path, world, wish, without_age=True) > truth + 0.045
