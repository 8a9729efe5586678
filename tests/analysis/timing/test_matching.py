"""Matching of notes and presses, against brute force and against mir_eval's onset matching."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.stats.rhythm.matching import match_presses

times = st.lists(st.integers(0, 400), min_size=0, max_size=5)


def assignments(notes: int, presses: int):
    """Every assignment of presses to notes, as tuples with -1 for none."""
    for choice in itertools.product(range(-1, presses), repeat=notes):
        used = [c for c in choice if c >= 0]
        if len(used) == len(set(used)):
            yield choice


def worths(notes, presses, gap):
    for choice in assignments(len(notes), len(presses)):
        distances = [abs(presses[j] - notes[i]) for i, j in enumerate(choice) if j >= 0]
        if all(d <= gap for d in distances):
            yield len(distances), sum(distances)


@settings(max_examples=300, deadline=None)
@given(times, times, st.integers(1, 200))
def test_no_assignment_at_all_is_worth_more(notes, presses, gap):
    taken = match_presses(np.array(notes, int), np.array(presses, int), gap)
    found = [abs(presses[j] - notes[i]) for i, j in enumerate(taken) if j >= 0]
    assert all(d <= gap for d in found)
    assert len({j for j in taken if j >= 0}) == len(found)
    best = max(count * (gap + 1) - total for count, total in worths(notes, presses, gap))
    assert len(found) * (gap + 1) - sum(found) == best


@settings(max_examples=300, deadline=None)
@given(times, times, st.integers(1, 200))
def test_count_first_takes_the_most_pairs_and_then_the_least_distance(notes, presses, gap):
    taken = match_presses(np.array(notes, int), np.array(presses, int), gap, count_first=True)
    found = [abs(presses[j] - notes[i]) for i, j in enumerate(taken) if j >= 0]
    best = max(worths(notes, presses, gap), key=lambda w: (w[0], -w[1]))
    assert (len(found), sum(found)) == best


@settings(max_examples=100, deadline=None)
@given(st.lists(st.integers(0, 3000), max_size=40), st.lists(st.integers(0, 3000), max_size=40), st.integers(1, 300))
def test_order_is_preserved(notes, presses, gap):
    notes = np.array(sorted(notes), int)
    presses = np.array(presses, int)
    taken = match_presses(notes, presses, gap)
    pressed = presses[taken[taken >= 0]]
    assert (np.diff(pressed) >= 0).all()


@pytest.mark.parametrize("seed", range(20))
def test_as_many_pairs_as_mir_eval_finds_away_from_its_edge(seed):
    """mir_eval 0.8 `onset.f_measure` / `util.match_events`, window 50 ms: the maximum matching of two onset lists."""
    from mir_eval.util import match_events

    rng = np.random.default_rng(seed)
    notes = np.unique(rng.integers(0, 20_000, 200)) * 1000
    presses = np.unique(rng.integers(0, 20_000, 200)) * 1000
    # Its comparison is in floats and fragile at exactly 50 ms: no difference may lie there.
    presses = presses[(np.abs(presses[:, None] - notes[None, :]) != 50_000).all(axis=1)]
    expected = match_events(notes / 1e6, presses / 1e6, 0.05)
    taken = match_presses(notes, presses, 50_000, count_first=True)
    assert (taken >= 0).sum() == len(expected)
    distance = np.abs(presses[taken[taken >= 0]] - notes[taken >= 0]).sum()
    assert distance <= sum(abs(presses[j] - notes[i]) for i, j in expected)


def test_a_missed_note_and_a_late_extra_press_do_not_shift_the_row_between():
    notes = np.arange(10) * 200_000
    presses = np.append(notes[1:] + 5_000, notes[-1] + 150_000)
    taken = match_presses(notes, presses, 210_000)
    assert taken.tolist() == [-1, *range(9)]
    # Counting pairs first does shift them: that is why it is not the rule for measuring errors.
    assert (match_presses(notes, presses, 210_000, count_first=True) >= 0).all()


def test_lanes_keep_apart_and_a_chord_takes_one_press_each():
    notes, lanes = np.array([1000, 1000, 1000]), np.array([0, 1, 1])
    presses, press_lanes = np.array([1001, 990, 1020, 1030]), np.array([1, 0, 1, 1])
    taken = match_presses(notes, presses, 100, lanes, press_lanes)
    assert sorted(taken.tolist()) == [0, 1, 2]
    assert taken[0] == 1


def test_nothing_to_match():
    none = np.array([], int)
    assert match_presses(none, np.array([1]), 10).tolist() == []
    assert match_presses(np.array([1]), none, 10).tolist() == [-1]
    with pytest.raises(ValueError, match="gap"):
        match_presses(none, none, -1)


def test_work_grows_in_proportion_where_every_press_reaches_several_notes():
    """A long chain that never falls apart: 20,000 notes, each press within reach of about four."""
    rng = np.random.default_rng(1)
    notes = np.arange(20_000) * 100_000
    presses = np.sort(notes + rng.normal(0, 60_000, len(notes)).astype(int))
    taken = match_presses(notes, presses, 200_000)
    assert (taken >= 0).mean() > 0.99
