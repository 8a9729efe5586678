"""The outcome chain against closed forms and against brute force that knows nothing of it."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from analysis.models.staged_games.chain import Course, play


def course(
    death: np.ndarray,
    clear_s: np.ndarray,
    lives: int = 3,
    refill: tuple[int, ...] | None = None,
    rise: float = 0.0,
    keep: float = 0.0,
    quits: tuple[float, float] = (0.0, 0.0),
    spread: float = 0.0,
) -> Course:
    """death, clear_s: (segments, tiers) of one scenario."""
    death, clear_s = np.atleast_2d(death)[:, :, None], np.atleast_2d(clear_s)[:, :, None]
    segments = len(death)
    return Course(
        start_lives=lives,
        refill=np.array(refill or [0] * segments),
        start_tier=0,
        death=death.astype(float),
        clear_s=clear_s.astype(float),
        rise=np.full((segments, 1), rise),
        keep_tier=np.array([keep]),
        quit_first=np.array([quits[0]]),
        quit_again=np.array([quits[1]]),
        spread=np.array([spread]),
    )


@pytest.mark.parametrize("mean", [0.3, 1.0, 2.0, 4.0])
@pytest.mark.parametrize("lives", [1, 3, 6])
def test_a_fixed_clear_time_gives_poisson_deaths(mean, lives):
    """P(get through) = P(fewer than `lives` deaths), a Poisson count with the segment's mean."""
    one = play(course([[mean / 40]], [[40.0]], lives))
    assert one.reach[1, 0] == pytest.approx(stats.poisson.cdf(lives - 1, mean), abs=0.008)
    fine = play(course([[mean / 40]], [[40.0]], lives), steps=60)
    assert fine.reach[1, 0] == pytest.approx(stats.poisson.cdf(lives - 1, mean), abs=2e-4)


@pytest.mark.parametrize("again", [0.4, 2.5])
def test_a_death_that_changes_the_danger_of_what_is_left(again):
    """Two lives, hazard h until the first death and again x h after: P(get through) by integrating over its moment."""
    h, clear_s = 0.04, 30.0
    changed = replace(course([[h]], [[clear_s]], 2), again=np.array([again]))
    without = np.exp(-h * clear_s)
    after_one = (np.exp(-again * h * clear_s) - np.exp(-h * clear_s)) / (1 - again)
    assert play(changed, steps=60).reach[1, 0] == pytest.approx(without + after_one, abs=3e-4)
    # In the next segment the danger is what it was.
    two = replace(course([[h], [h]], [[clear_s], [clear_s]], 1), again=np.array([again]))
    assert play(two, steps=60).reach[2, 0] == pytest.approx(without**2, abs=3e-4)


@pytest.mark.parametrize("steps", [2, 6])
def test_exponential_parts_give_negative_binomial_deaths(steps):
    """A clear time of `steps` exponential parts: the deaths are negative binomial, exactly."""
    mean, lives = 1.7, 3
    spread = np.sqrt(np.log1p(1 / steps))
    one = play(course([[mean / 30]], [[30.0]], lives, spread=spread), steps=steps)
    exact = stats.nbinom.cdf(lives - 1, steps, steps / (steps + mean))
    assert one.reach[1, 0] == pytest.approx(exact, abs=1e-12)


def test_lives_policies_over_two_segments_match_the_binomial_sums():
    """Two segments with Poisson deaths; the refill comes between them."""
    first, second, lives = 1.2, 0.9, 3
    left = stats.poisson.pmf(np.arange(lives), first)  # deaths so far: 0, 1, 2

    def through(lives_then: np.ndarray) -> float:
        return float(left @ stats.poisson.cdf(lives_then - 1, second))

    remaining = lives - np.arange(lives)
    death, clear = [[first / 30], [second / 30]], [[30.0], [30.0]]
    for policy, then in ((0, remaining), (1, remaining + 1), (2, np.full(lives, lives))):
        ends = play(course(death, clear, lives, refill=(0, policy)), steps=60)
        assert ends.reach[2, 0] == pytest.approx(through(then), abs=3e-4), policy


def test_what_goes_in_comes_out():
    ends = play(course([[0.05, 0.03], [0.08, 0.05]], [[30, 28], [25, 20]], 3, (0, 1), 0.03, 0.2, (0.05, 0.2), 0.3))
    assert ends.reach[-1, 0] + ends.over[0] + ends.quit[0] == pytest.approx(1, abs=1e-12)
    assert np.all(np.diff(ends.reach[:, 0]) <= 0)
    assert ends.segment_deaths.sum() == pytest.approx(ends.deaths[0])


def test_brute_force_agrees():
    """40,000 runs in small ticks, with tiers, quits, refills, more danger after a death: nothing of the chain."""
    rng = np.random.default_rng(5)
    death = np.array([[0.05, 0.035, 0.03], [0.09, 0.07, 0.05], [0.06, 0.05, 0.045]])
    clear = np.array([[30, 27, 25], [20, 16, 13], [35, 33, 30]], dtype=float)
    refill, rise, quits, lives0, people, tick = (0, 0, 2), 0.03, (0.06, 0.2), 3, 40_000, 0.1
    again = 1.5
    segment, lives, tier = np.zeros(people, int), np.full(people, lives0), np.zeros(people, int)
    progress, here = np.zeros(people), np.zeros(people, int)
    state = np.zeros(people, int)  # 0 playing, 1 over, 2 quit, 3 finished
    alive_s, deaths = np.zeros(people), np.zeros(people)
    reached = np.zeros((4, people), bool)
    reached[0] = True
    while (state == 0).any():
        on = state == 0
        alive_s += tick * on
        danger = death[np.minimum(segment, 2), tier] * np.where(here > 0, again, 1.0)
        dies = on & (rng.random(people) < -np.expm1(-danger * tick))
        rises = on & ~dies & (tier < 2) & (rng.random(people) < rise * tick)
        progress += np.where(on, tick / clear[np.minimum(segment, 2), tier], 0)
        deaths += dies
        lives -= dies
        quitting = dies & (lives > 0) & (rng.random(people) < np.where(here > 0, quits[1], quits[0]))
        here += dies
        tier = np.where(dies, np.maximum(tier - 1, 0), tier + rises)
        state = np.where(dies & (lives == 0), 1, np.where(quitting, 2, state))
        through = (state == 0) & (progress >= 1)
        segment += through
        progress[through], here[through] = 0, 0
        for j in (1, 2, 3):
            reached[j] |= through & (segment == j)
        state = np.where(through & (segment == 3), 3, state)
        full = through & (segment < 3) & (np.array(refill)[np.minimum(segment, 2)] == 2)
        lives = np.where(full, np.maximum(lives, lives0), lives)
    ends = play(replace(course(death, clear, lives0, refill, rise, 0.0, quits), again=np.array([again])))
    assert ends.reach[:, 0] == pytest.approx(reached.mean(axis=1), abs=0.012)
    assert ends.quit[0] == pytest.approx((state == 2).mean(), abs=0.008)
    assert ends.alive_s[0] == pytest.approx(alive_s.mean(), rel=0.02)
    assert ends.deaths[0] == pytest.approx(deaths.mean(), rel=0.02)


def test_surviving_so_many_seconds():
    """One life, one segment: surviving t is exp(-h t); whoever finished before t has survived."""
    ends = play(course([[0.02]], [[60.0]], 1), times_s=(15.0, 30.0, 90.0), steps=60)
    expected = [np.exp(-0.02 * 15), np.exp(-0.02 * 30), np.exp(-0.02 * 60)]
    assert ends.survive[:, 0] == pytest.approx(expected, abs=1e-4)


def test_quitting_between_deaths_competes_with_dying():
    """One life: through is exp(-(h + q) t), and of the others the share q / (h + q) has quit."""
    h, q, t = 0.02, 0.01, 60.0
    ends = play(replace(course([[h]], [[t]], 1), leave=np.array([q])), steps=60)
    through = np.exp(-(h + q) * t)
    assert ends.reach[1, 0] == pytest.approx(through, abs=1e-4)
    assert ends.quit[0] == pytest.approx((1 - through) * q / (h + q), abs=1e-4)
    assert ends.over[0] == pytest.approx((1 - through) * h / (h + q), abs=1e-4)
    anew = play(replace(course([[h]], [[t]], 1), leave=np.array([q]), restarts=True), steps=60)
    assert anew.reach[1, 0] == pytest.approx(through, abs=1e-4)
    assert anew.quit[0] == pytest.approx(ends.quit[0], abs=1e-4)


def test_a_run_that_ends_at_a_repeated_death_is_told_from_one_that_ends_at_a_first():
    """Two lives over two segments of mean m each: both deaths in one, or one in each; Poisson counts by hand."""
    m = 0.8
    alone, none = 1 - np.exp(-m) - m * np.exp(-m), np.exp(-m)
    ends = play(course([[m / 30], [m / 30]], [[30.0], [30.0]], 2), steps=60)
    # Twice in the first; or not at all there and twice in the second.
    assert ends.over_again[0] == pytest.approx(alone + none * alone, abs=1e-3)
    assert ends.over[0] - ends.over_again[0] == pytest.approx(m * none * (1 - none), abs=1e-3)


def test_hopeless_rates_stay_chances():
    ends = play(course([[4.0], [3.0]], [[60.0], [60.0]], 3))
    assert np.all(ends.reach >= 0)
    assert ends.reach[1, 0] < 1e-3
    assert ends.over[0] == pytest.approx(1, abs=1e-3)


def test_the_lean_chain_agrees_with_the_full_one():
    """Single precision while searching: the same figures to four digits, times and quits between deaths included, also
    where nobody is left and where each life begins anew."""
    one = course([[0.05, 0.03], [2.0, 1.5]], [[30, 28], [60, 50]], 3, (0, 1), 0.03, 0.2, (0.05, 0.2), 0.3)
    for restarts in (False, True):
        leaving = replace(one, leave=np.array([0.01]), restarts=restarts)
        with np.errstate(all="raise", under="ignore"):
            full, lean = (play(leaving, times_s=(10.0, 40.0, 80.0), lean=lean) for lean in (False, True))
        assert lean.reach == pytest.approx(full.reach, abs=1e-5)
        assert lean.survive == pytest.approx(full.survive, abs=1e-4)
        assert lean.over_again == pytest.approx(full.over_again, abs=1e-5)
        assert lean.quit == pytest.approx(full.quit, abs=1e-5)
        assert lean.alive_s == pytest.approx(full.alive_s, rel=1e-5)
        # Who has not come through is dead or has left.
        assert full.reach[-1] + full.over + full.quit == pytest.approx(1, abs=1e-9)


def test_a_stage_that_begins_anew_with_each_life():
    """Every life must get through alone: P = 1 - (1 - exp(-h T))^lives."""
    mean, lives = 1.3, 3
    one = replace(course([[mean / 40]], [[40.0]], lives), restarts=True)
    alone = np.exp(-mean)
    assert play(one, steps=60).reach[1, 0] == pytest.approx(1 - (1 - alone) ** lives, abs=1e-4)
    # Deaths of those who are thrown back: a truncated geometric number.
    expected = sum((1 - alone) ** k for k in range(1, lives + 1))
    assert play(one, steps=60).deaths[0] == pytest.approx(expected, abs=1e-3)
