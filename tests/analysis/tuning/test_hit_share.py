"""Hit shares of a one-shot game: what is observed and what is predicted count the same runs and the same trials."""

import numpy as np
import pytest
from scipy import stats
from scipy.special import expit

from analysis.models.data import Build, TrialData
from analysis.models.observed import observed_trials
from analysis.models.trials import fit_trials
from analysis.tuning.target_file import read_targets
from tests.analysis.levers.games import shots

NEW = '[[target]]\noutcome="hit_share"\npopulation="new_players"\nstatistic="{}"\nwanted=0.8\n'


def trials(success_of_runs, player_of_runs, attempt_of_runs):
    """A game without tunables, run after run."""
    lengths = [len(run) for run in success_of_runs]
    run = np.repeat(np.arange(len(lengths)), lengths)
    return TrialData(
        game="Kettle Toss",
        players=tuple(f"P{n}" for n in range(max(player_of_runs) + 1)),
        builds=(Build("1", "1", ()),),
        current=0,
        player=np.array(player_of_runs)[run],
        run=run,
        attempt=np.array(attempt_of_runs)[run],
        build=np.zeros(len(run), dtype=int),
        experienced=np.zeros(len(run), dtype=bool),
        index=np.concatenate([np.arange(n) for n in lengths]),
        relative_speed=np.ones(len(run)),
        success=np.concatenate(success_of_runs).astype(bool),
    )


def until_miss(rng, chance, most):
    hits = min(int(rng.geometric(1 - chance)) - 1, most)
    return np.array([1] * hits + ([0] if hits < most else []))


@pytest.mark.parametrize("statistic", ["mean", "median"])
def test_of_new_players_the_first_run_counts(statistic):
    """Everybody hits half at first and everything later: later runs must not lift the figure."""
    data = trials([[1, 0, 1, 0], [1] * 20, [0, 1, 0, 1], [1] * 20], [0, 0, 1, 1], [1, 2, 1, 2])
    found = observed_trials(data, read_targets(NEW.format(statistic)).targets[0])
    assert (found.figure, found.players, found.runs) == (0.5, 2, 2)


@pytest.mark.parametrize("most", [6, 60])
def test_where_a_miss_ends_the_run_the_share_is_that_of_such_runs(most):
    """400 people of one skill: n successes and a miss are n / (n + 1), `most` successes are all."""
    rng, chance = np.random.default_rng(3), 0.8
    runs = [until_miss(rng, chance, most) for _ in range(400)]
    data = trials(runs, list(range(400)), [1] * 400)
    model = fit_trials(data)
    assert model.ends_at_miss and model.most == (6 if most == 6 else None)
    many = [until_miss(rng, chance, most) for _ in range(20_000)]
    expected = np.mean([run.mean() for run in many])
    [mean, median] = [read_targets(NEW.format(s)).targets[0] for s in ("mean", "median")]
    said = model.figures({}, [mean, median])
    assert np.median(said[0]) == pytest.approx(expected, abs=0.03)
    assert np.median(said[0]) == pytest.approx(observed_trials(data, mean).figure, abs=0.03)
    # The median run of p = 0.8 has three successes (P(L >= 3) = 0.512, P(L >= 4) = 0.41).
    assert np.median(said[1]) == pytest.approx(3 / 4, abs=0.03)


def test_streaks_of_players_who_are_alike_are_geometric():
    """Three of four shots hit: n in a row with 0.75^n. A quarter of the runs miss their first shot."""
    model = fit_trials(shots(hit=0.75))
    words = '[[target]]\noutcome="streak"\nname="{}"\nwanted={}\n{}\n'
    text = words.format("three", 0.4, "length=3") + words.format("quarter", 1, 'statistic="lower_quarter"')
    text += words.format("upper", 5, "quantile=0.75") + words.format("mean", 3, 'statistic="mean"')
    three, quarter, upper, mean = np.median(model.figures({}, read_targets(text).targets), axis=1)
    assert three == pytest.approx(0.75**3, abs=0.01)
    assert (quarter, upper) == pytest.approx((1, np.log(0.25) / np.log(0.75)), rel=0.03)
    assert mean == pytest.approx(0.75 / 0.25, rel=0.03)


def test_quarters_of_the_players_are_as_far_apart_as_players_are():
    """Skills of standard deviation 0.8 on the logit scale: the lower quarter by the normal distribution."""
    skill = 0.8 * stats.norm.ppf((np.arange(60) + 0.5) / 60)
    rng = np.random.default_rng(6)
    data = trials([rng.random(150) < expit(s) for s in skill], list(range(60)), [1] * 60)
    low, middle = (read_targets(NEW.format(s)).targets[0] for s in ("lower_quarter", "median"))
    said = np.median(fit_trials(data).figures({}, [low, middle]), axis=1)
    assert said == pytest.approx([expit(-0.8 * 0.67449), 0.5], abs=0.03)


def test_in_runs_of_a_fixed_length_the_share_is_the_mean_of_the_trials():
    rng = np.random.default_rng(5)
    skill = 0.8 + 0.5 * rng.standard_normal(60)
    runs = [rng.random(40) < expit(s) for s in skill]
    data = trials(runs, list(range(60)), [1] * 60)
    model = fit_trials(data)
    assert not model.ends_at_miss
    mean = read_targets(NEW.format("mean")).targets[0]
    assert np.median(model.figures({}, [mean])) == pytest.approx(observed_trials(data, mean).figure, abs=0.01)
