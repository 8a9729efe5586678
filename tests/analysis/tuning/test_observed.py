"""What was counted, where runs were cut: neither the lucky ones among them alone, nor none of them."""

from dataclasses import replace

import numpy as np
import pytest
from lifelines import AalenJohansenFitter

from analysis.models.data import ENDINGS, Build, Cells, Counts, Runs, Segment, StagedData, TrialData, Visits
from analysis.models.observed import (
    by_player_staged,
    by_player_trials,
    observed_staged,
    observed_trials,
    resolved_weights,
)
from analysis.tuning.target_file import read_targets

FINISHED, OVER, QUIT, CUT = range(4)
assert ENDINGS == ("finished", "game_over", "quit", "cut")


def target(words):
    return read_targets(f"[[target]]\n{words}\n").targets[0]


def staged(rows):
    """Runs as (player, attempt, ending, seconds alive in each stage that was entered)."""
    rows = sorted(rows)
    player, attempt, ending = (np.array([row[k] for row in rows]) for k in range(3))
    spent = [row[3] for row in rows]
    cells = [(p, a, j, s) for p, a, _, own in rows for j, s in enumerate(own)]
    p, a, j, s = (np.array(column) for column in zip(*cells, strict=True))
    nothing, none = np.zeros(len(rows), dtype=bool), np.zeros(0)
    return StagedData(
        game="Well",
        segments=tuple(Segment(n) for n in (1, 2, 3)),
        players=tuple(f"P{n}" for n in range(player.max() + 1)),
        builds=(Build("a", "1", ()),),
        current=0,
        runs=Runs(
            player,
            attempt,
            0 * player,
            ending,
            np.array([len(own) - 1 for own in spent]),
            np.array([sum(own) for own in spent], dtype=float),
            0 * player,
            nothing,
            nothing,
            nothing,
            nothing,
        ),
        cells=Cells(p, a, 0 * p, j, 0 * p, 0 * p > 0, 0 * p > 0, s.astype(float), 0 * p, 0 * p + 1.0),
        visits=Visits(none, none, none, none, none, none),
        counts=Counts(none, none, (0, 0), none, none, none, none, 0.0, 0.0),
        start_tier=0,
        tiers=1,
        finish_known=True,
        lives_seen=3,
    )


FOUR = [
    (0, 1, OVER, [10]),
    (1, 1, CUT, [20]),  # halves of it go to the two that lasted longer
    (2, 1, OVER, [30]),
    (3, 1, CUT, [25, 40]),  # had got there before it was cut
]


def test_a_cut_run_is_shared_out_among_those_that_lasted_longer():
    """By hand: 10 s one of four ends, 20 s one is lost, 25 s one of two gets there: 3/4 x 1/2."""
    second = target('outcome="reach_stage"\nstage=2\nwanted=0.5')
    seen = observed_staged(staged(FOUR), second)
    assert seen.figure == pytest.approx(3 / 8)
    assert (seen.players, seen.runs) == (3, 3)
    by_player = by_player_staged(staged(FOUR), second, 0)
    assert by_player.player.tolist() == ["P0", "P2", "P3"]
    assert by_player.value.mean() == pytest.approx(3 / 8)
    assert by_player.value[:2].tolist() == [0, 0]


def test_people_who_had_played_before_are_not_counted():
    data = staged([(p, 1, OVER, [10] if p < 3 else [10, 5]) for p in range(4)])
    second = target('outcome="reach_stage"\nstage=2\nwanted=0.5')
    assert observed_staged(data, second).figure == pytest.approx(1 / 4)
    known = replace(data, runs=replace(data.runs, experienced=data.runs.player == 3))
    seen = observed_staged(known, second)
    assert (seen.figure, seen.players, seen.runs) == (0, 3, 3)


def test_only_cut_runs_say_nothing_and_uncut_ones_are_plainly_counted():
    second = target('outcome="reach_stage"\nstage=2\nwanted=0.5')
    assert observed_staged(staged([(0, 1, CUT, [9])]), second).figure is None
    whole = [(p, 1, OVER, [10] if p < 7 else [10, 5]) for p in range(10)]
    assert observed_staged(staged(whole), second).figure == pytest.approx(0.3)
    assert set(by_player_staged(staged(whole), second, 0).value) == {0.0, 1.0}


def test_a_player_whose_first_run_was_cut_is_lost_from_there_on():
    """Of attempts 1 and 2: P0 does it in the second, P1 in neither; P2 was cut in the first: the second is not told."""
    rows = [
        (0, 1, OVER, [10]),
        (0, 2, OVER, [10, 10]),
        (1, 1, OVER, [10]),
        (1, 2, OVER, [30]),
        (2, 1, CUT, [5]),
        (2, 2, OVER, [5, 5]),
    ]
    either = target('outcome="reach_stage"\nstage=2\npopulation="new_players"\nattempts=2\nwanted=0.5')
    seen = observed_staged(staged(rows), either)
    assert seen.figure == pytest.approx(0.5)
    assert (seen.players, seen.runs) == (2, 4)


def many(rng, count, cut_s):
    """Two stages, 40 s each, a death every 60 s; a cut every `cut_s`. Half of them: exp(-40/60)."""
    rows = []
    for p in range(count):
        death, cut = rng.exponential(60), rng.exponential(cut_s)
        if death < min(40, cut):
            rows.append((p, 1, OVER, [death]))
        elif cut < 40:
            rows.append((p, 1, CUT, [cut]))
        else:
            rows.append((p, 1, OVER if death < cut else CUT, [40, min(death, cut) - 40]))
    return rows


@pytest.mark.parametrize(
    ("words", "truth"),
    [
        ('outcome="reach_stage"\nstage=2\nwanted=0.5', np.exp(-40 / 60)),
        ('outcome="survive"\nseconds=60\nwanted=0.5', np.exp(-1)),
    ],
)
def test_random_cuts_leave_no_bias(words, truth):
    """4,000 runs, of which a third are cut before they are told: the standard error is about 1 point.

    Counting cut runs only where they had got there says 42 % for 51, and 25 for 37; dropping all says 27 and 15.
    """
    data = staged(many(np.random.default_rng(3), 4000, 60))
    wish = target(words)
    assert observed_staged(data, wish).figure == pytest.approx(truth, abs=0.03)
    assert by_player_staged(data, wish, 0).value.mean() == pytest.approx(truth, abs=0.03)


def test_the_weights_are_those_of_another_library():
    """lifelines' Aalen-Johansen cumulative incidence; the longest is resolved, so that nothing is left over."""
    rng = np.random.default_rng(4)
    time = rng.exponential(30, 80)
    kind = rng.integers(0, 3, 80)
    kind[np.argmax(time)] = 2
    weight = resolved_weights(time, kind > 0)
    own = (weight * (kind == 1)).sum() / weight.sum()
    fitter = AalenJohansenFitter(calculate_variance=False)
    fitter.fit(time, kind, event_of_interest=1)
    assert own == pytest.approx(float(fitter.cumulative_density_.iloc[-1, 0]), abs=1e-9)


def shots(lengths, cut, miss):
    """Runs of so many successes, then a miss where there was one."""
    rows = [(n, s) for n, (k, m) in enumerate(zip(lengths, miss, strict=True)) for s in [True] * k + [False] * m]
    run, success = (np.array(column) for column in zip(*rows, strict=True))
    zero = 0 * run
    return TrialData(
        "Shot",
        tuple(f"P{n}" for n in range(len(lengths))),
        (Build("a", "1", ()),),
        0,
        run,
        run,
        zero + 1,
        zero,
        zero > 0,
        zero,
        zero + 1.0,
        success,
        np.array(cut, dtype=bool)[run],
    )


def test_a_streak_that_was_cut_is_not_a_streak_that_ended():
    """By hand: misses after 2 and 6, one cut after 4: 1 of 3 falls at 2, the cut one's third goes to the last."""
    data = shots([2, 4, 6], [0, 1, 0], [1, 0, 1])
    five = target('outcome="streak"\nlength=5\nwanted=0.5')
    assert observed_trials(data, five).figure == pytest.approx(2 / 3)
    assert by_player_trials(data, five, 0).value.mean() == pytest.approx(2 / 3)
    assert observed_trials(data, target('outcome="streak"\nlength=3\nwanted=0.5')).figure == pytest.approx(2 / 3)
    mean = observed_trials(data, target('outcome="streak"\nstatistic="mean"\nwanted=5'))
    assert mean.figure == pytest.approx(2 / 3 + 6 * 2 / 3)
    ended = replace(data, cut=np.zeros(len(data.run), dtype=bool))
    assert observed_trials(ended, five).figure == pytest.approx(1 / 3)


def test_levels_reached_by_cut_runs_count_as_at_least_that():
    """The median level at the end: a cut run's weight goes to those that lasted longer."""
    rows = [(0, 1, OVER, [10]), (1, 1, CUT, [10, 10]), (2, 1, OVER, [10, 10, 10]), (3, 1, OVER, [12])]
    data = staged(rows)
    data = replace(data, segments=tuple(Segment(n, 0, True) for n in (1, 2, 3)))
    mean = observed_staged(data, target('outcome="level_reached"\nstatistic="mean"\nwanted=2'))
    assert mean.figure == pytest.approx((1 + 1 + 2 * 3) / 4)
