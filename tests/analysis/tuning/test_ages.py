"""Danger that goes with a life's age: the chain and the cells against closed forms, integrals and counts by hand."""

import numpy as np
import pytest
from scipy import integrate, stats

from analysis.models.data import Visits
from analysis.models.staged_games.ages import AGES, by_age, usual_s
from analysis.models.staged_games.chain import Course, play
from analysis.tuning_answers.staged_data import _age_s, _cells

ZERO = np.zeros(1)


def visit(met: float, age: float, lives: int, again: float = 1.0, restarts: bool = False, steps: int = 8) -> float:
    """The chance to get through one segment, in which a life from end to end meets `met` deaths."""
    course = Course(
        start_lives=lives,
        refill=np.zeros(1, dtype=int),
        start_tier=0,
        death=np.full((1, 1, 1), met / 40),
        clear_s=np.full((1, 1, 1), 40.0),
        rise=np.zeros((1, 1)),
        keep_tier=ZERO,
        quit_first=ZERO,
        quit_again=ZERO,
        spread=ZERO,
        again=np.array([again]),
        age=np.array([age]),
        restarts=restarts,
    )
    return float(play(course, steps=steps).reach[1, 0])


@pytest.mark.parametrize(("met", "age"), [(0.6, 2.0), (2.0, 2.0), (2.0, 0.5), (1.0, -0.3)])
def test_nobody_dies_by_weibulls_distribution(met, age):
    scale = met ** (-1 / (1 + age))
    assert visit(met, age, 1) == pytest.approx(stats.weibull_min(1 + age, scale=scale).sf(1.0), abs=1e-6)


@pytest.mark.parametrize(("met", "age", "again"), [(0.6, 2.0, 1.0), (2.0, 2.0, 1.0), (2.0, 1.0, 0.5), (3.0, 2.0, 2.0)])
def test_at_most_one_death_by_integrating_over_its_moment(met, age, again):
    """Two lives: the second begins at the first death at s, and meets again x met x (1 - s)^(1 + age) to the end."""
    power = 1 + age

    def one(s: float) -> float:
        return power * met * s**age * np.exp(-met * s**power - again * met * (1 - s) ** power)

    through = np.exp(-met) + integrate.quad(one, 0, 1)[0]
    assert visit(met, age, 2, again, steps=60) == pytest.approx(through, abs=1e-3)
    assert visit(met, age, 2, again) == pytest.approx(through, abs=0.005)
    # Poisson deaths of the same chance of none would end more runs.
    if again == 1:
        assert visit(met, 0.0, 2) < through - 0.03


def test_three_deaths_of_a_renewal_process_by_counting():
    """400,000 visits, in which Weibull's times to a death follow each other."""
    rng, clock, deaths = np.random.default_rng(3), np.zeros(400_000), np.zeros(400_000, dtype=int)
    for _ in range(12):
        clock += rng.weibull(3.0, len(clock)) * 10 ** (-1 / 3)
        deaths += clock < 1
    for lives in (2, 3, 4):
        assert visit(10.0, 2.0, lives, steps=60) == pytest.approx((deaths < lives).mean(), abs=0.003)
        assert visit(10.0, 2.0, lives) == pytest.approx((deaths < lives).mean(), abs=0.01)


def test_thrown_back_to_the_start_each_life_is_a_whole_one():
    assert visit(1.3, 2.0, 3, restarts=True) == pytest.approx(1 - (1 - np.exp(-1.3)) ** 3, abs=1e-6)


def test_times_alive_are_cut_where_a_class_ends():
    row, of, time = by_age(np.array([0.1, 0.5]), np.array([0.4, 0.5]))
    assert row.tolist() == [0, 0, 0, 1]
    assert AGES[of] == pytest.approx([1 / 12, 3 / 12, 5 / 12, 5 / 12])
    assert time == pytest.approx([1 / 6 - 0.1, 1 / 6, 0.4 - 2 / 6, 0])
    _, of, time = by_age(np.array([0.0]), np.array([3.0]))
    assert time.sum() == pytest.approx(3) and time[-1] == pytest.approx(1.5) and AGES[of[-1]] == 1.75


def test_how_long_a_segment_takes():
    segment = np.array([0, 0, 0, 1, 1])
    alive_s = np.array([20.0, 40.0, 5.0, 8.0, 10.0])
    cleared = np.array([True, True, False, False, False])
    visits = Visits(0 * segment, 0 * segment, segment, 0.0 * alive_s, alive_s, cleared)
    assert usual_s(visits, 3) == pytest.approx([30, 10, 20])


def test_a_life_is_as_old_as_since_the_visit_began_or_the_last_death_in_it():
    """One run: 4 s and 3 s at two tiers, then a death; 5 s to the end of the stage; 2 s in the next."""
    run, segment, died = np.zeros(4, dtype=int), np.array([0, 0, 0, 1]), np.array([False, True, False, False])
    alive_s = np.array([4.0, 3.0, 5.0, 2.0])
    spells = {"stage_id": np.array([7, 7, 7, 8])}
    age_s = _age_s(run, segment, spells, False, alive_s, died)
    assert age_s == pytest.approx([0, 4, 0, 0])
    zero = np.zeros(1, dtype=int)
    cells = _cells(
        zero, zero + 1, zero, zero > 0, run, segment, np.array([0, 1, 1, 1]), np.array([False, False, True, False]),
        alive_s, died, age_s, np.full(4, 12.0),
    )  # fmt: skip
    assert cells.alive_s.sum() == pytest.approx(14) and cells.deaths.sum() == 1
    # It fell in the second tier, at 7 of 12 s.
    [at] = np.nonzero(cells.deaths)[0]
    assert (cells.tier[at], cells.age[at], cells.again[at]) == (1, pytest.approx(7 / 12), False)
