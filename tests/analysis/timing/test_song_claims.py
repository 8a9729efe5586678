"""What the findings along and between songs claim: no more than their intervals allow."""

import numpy as np
import pytest

from analysis.findings.timing import along_songs, songs_held_fixed
from tests.analysis.timing.notes import timed_notes


def of_songs(rng, players=8, songs=5, notes=20):
    """Nobody drifts on average, but each player does a little on each song; no passage is off."""
    player, song, note = (a.ravel() for a in np.indices((players, songs, notes)))
    slope = rng.normal(0, 2, (players, songs))[player, song]
    error = slope * (note - (notes - 1) / 2) / notes + rng.normal(0, 8, player.size)
    run = player * songs + song
    return timed_notes(error, player=player, song=song, run=run, due_ms=note * 500.0)


def found_in(notes):
    return {f.id: f for f in [*along_songs.find(notes, ()), *songs_held_fixed.find(notes, ())]}


def test_looking_at_many_songs_does_not_find_drift_or_passages():
    rng = np.random.default_rng(3)
    drift = off = 0
    for _ in range(80):
        found = found_in(of_songs(rng))
        drift += "Errors drift" in found["timing.drift"].sentence
        off += "Against the rest" in found["timing.passages"].sentence
    # 5 % of 80 and three standard errors; each song tested for itself would come to a fifth of them.
    assert drift <= 9 and off <= 9


def test_a_drift_that_is_there_is_found_in_its_song():
    rng = np.random.default_rng(4)
    notes = of_songs(rng)
    steady = notes.error_us + np.where(notes.song == 2, notes.in_song_us * 4e-3, 0)
    object.__setattr__(notes, "error_us", steady)
    sentence = found_in(notes)["timing.drift"].sentence
    assert "Errors drift along song 3 by +" in sentence and "song 1" not in sentence


def test_one_player_who_played_twice_is_an_answer_without_an_interval():
    notes = timed_notes([10.0] * 10 + [80.0] * 10, run=[0] * 10 + [1] * 10, attempt=[1] * 10 + [2] * 10)
    learning = found_in(notes)["timing.attempts"]
    assert "From attempt 1 to 2 hits go from 100 % to 0 %" in learning.sentence
    assert learning.estimate.value == pytest.approx(-1) and learning.estimate.low is None


def test_learning_that_one_player_alone_could_show_is_not_told():
    player = np.r_[np.repeat(np.arange(10), 10), np.zeros(10, int)]
    attempt = np.r_[np.ones(100, int), np.full(10, 2)]
    learning = found_in(
        timed_notes(np.full(110, 10.0), player=player, run=player + 10 * (attempt - 1), attempt=attempt)
    )
    assert "nothing can be said of learning" in learning["timing.attempts"].sentence
    assert learning["timing.attempts"].estimate is None


@pytest.mark.parametrize(("worse", "chance"), [(0.4, False), (0.0, True)])
def test_fast_notes_are_held_against_slow_ones_with_an_interval(worse, chance):
    rng = np.random.default_rng(9)
    player, note = (a.ravel() for a in np.indices((10, 60)))
    fast = note % 2 == 1
    due = 500.0 * note - 300.0 * fast  # 200 ms after the note before, then 800 ms
    missed = rng.random(600) < 0.2 + worse * fast
    found = found_in(timed_notes(np.where(missed, 90.0, 5.0), player=player, run=player, due_ms=due))
    sentence = found["timing.density"].sentence
    assert "95 % interval" in sentence and ("within chance" in sentence) == chance
    if not chance:
        low, high = sentence.split("95 % interval ")[1].split(")")[0].split(" to ")
        assert "less often" in sentence and 0 < float(low) < 40 < float(high) < 60


def test_a_song_that_nobody_played_beside_another_is_not_ranked():
    """Six play the first song, and somebody else the second one: players may differ, or songs."""
    rng = np.random.default_rng(3)
    player, song = np.repeat(np.arange(7), 60), np.repeat([0] * 6 + [1], 60)
    alone = timed_notes(rng.normal(0, 30, 420), player=player, song=song, run=player)
    assert "timing.songs" not in {one.id for one in along_songs.find(alone, ())}
    # The second and the third are played by two together: these are compared, and no other.
    player, song = np.repeat(np.arange(8), 60), np.repeat([0, 0, 1, 2, 1, 2, 1, 2], 60)
    pair = timed_notes(rng.normal(0, 30, 480), player=player // 2 * 2, song=song, run=player)
    (songs,) = (one for one in along_songs.find(pair, ()) if one.id == "timing.songs")
    assert songs.tables["songs"]["song"].tolist() == ["song 2", "song 3"]
