"""From a place on the map to its deaths, and from a death to its last seconds, in playtests known by hand."""

import numpy as np
import pytest

from analysis.findings import deaths
from analysis.findings.deaths import one_death
from analysis.selection import Selection
from analysis.stats.fairness import path_px
from tests.analysis import playtest
from tests.analysis.playtest import GAME, Playtest, reader_of

ALL = Selection(GAME)


def whole(reader, selection=ALL):
    return next(f for f in deaths.find(reader, selection) if f.id == "deaths.places")


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """P01 to P08 die twice a run at (100, 60), P09 seventy times in one run at (20, 100) and once off the screen."""
    test = Playtest()
    for who in range(1, 9):
        test.run(who, [3.0, 2.0], x=100, age=150, cause=2)
    test.event("begin", 1000, who=9, left=99)
    for _ in range(70):
        test.event("died", 1000, x=20, y=100, why=1)
        test.event("alive", 100)
    test.event("died", 1000, x=254, y=127, why=1)
    test.event("over", how=1)
    with test.study(tmp_path_factory.mktemp("one_death")) as made:
        yield made


def test_every_death_of_the_map_is_in_the_list_of_its_place_and_in_no_other(study):
    reader = reader_of(study)
    found = whole(reader)
    places = one_death.places_with_deaths(found)
    lists = [one_death.deaths_at(reader, ALL, found, place) for place in places]
    assert [(one.deaths, one.players) for one in lists] == [(p.deaths, p.players) for p in places]
    assert sum(one.deaths for one in lists) == 87 == one_death.deaths_at(reader, ALL).deaths
    # Off the screen counts as at its edge, in the list as on the map.
    assert {(p.x, p.y): p.deaths for p in places} == {(96, 48): 16, (16, 96): 70, (144, 112): 1}


def test_the_hot_places_come_first(study):
    places = one_death.places_with_deaths(whole(reader_of(study)))
    assert [place.hot for place in places] == [True, False, False]
    assert [place.deaths for place in places] == [16, 70, 1]


def test_a_place_is_found_by_any_of_its_pixels(study):
    found = whole(reader_of(study))
    for x, y in ((96, 48), (111, 63), (100, 60)):
        place = one_death.place_at(found, x, y)
        assert (place.x, place.y, place.words) == (96, 48, "x 96 to 112, y 48 to 64")
    assert one_death.place_at(found, 95, 48) is None and one_death.place_at(found, -1, 9999) is None


def test_the_list_is_bounded_and_says_of_how_many(study):
    reader = reader_of(study)
    found = whole(reader)
    listed = one_death.deaths_at(reader, ALL, found, one_death.place_at(found, 20, 100))
    assert listed.deaths == 70 and listed.players == 1
    assert {column.size for column in listed.rows.values()} == {50}
    assert listed.rows["life"].tolist() == list(range(1, 51)) and set(listed.rows["cause"]) == {"beam"}
    assert listed.rows["run_s"][0] == 1.0 and set(listed.rows["stage"]) == {""}


def test_the_list_obeys_the_filter(study):
    reader = reader_of(study)
    few = Selection(GAME, players=("P01", "P02"))
    listed = one_death.deaths_at(reader, few, whole(reader), one_death.place_at(whole(reader), 100, 60))
    assert listed.deaths == 4 and set(listed.rows["player"]) == {"P01", "P02"}
    assert one_death.find(reader, few, int(listed.rows["run_id"][0]), 1) is not None
    assert one_death.find(reader, Selection(GAME, players=("P03",)), int(listed.rows["run_id"][0]), 1) is None


@pytest.fixture(scope="module")
def strip(tmp_path_factory):
    """A life of three seconds after another: 3-4-5 steps of five pixels, then the shot, then two more steps."""
    test = Playtest()
    test.event("begin", 1000, who=1, left=2)
    test.event("enter", stage=2, boss=1)
    test.event("at", 500, x=150, y=10)
    test.event("died", 500, x=150, y=10, why=1, age=90)
    test.event("alive", 1000)
    for step in range(10):
        test.event("at", 200, x=10 + 3 * step, y=20 + 4 * step)
    test.event("fire", 0, x=5, y=5, aim=1)
    test.event("fire", 0, x=6, y=5, aim=0)
    test.event("shoot", 100)
    test.event("knob", 50, raw=777, lane=1)
    for step in range(10, 13):
        test.event("at", 250, x=10 + 3 * step, y=20 + 4 * step)
    test.event("died", 100, x=46, y=68, why=2, age=1000)
    test.event("knob", 400, raw=778, lane=1)
    test.event("over", 200, how=1)
    with test.study(tmp_path_factory.mktemp("strip")) as made:
        yield made


def only_run(study):
    (row,) = study.connection.execute("SELECT run_id FROM runs").fetchall()
    return row[0]


def test_the_strip_holds_what_was_logged_in_five_seconds_and_nothing_after_the_death(strip):
    found = one_death.find(reader_of(strip), ALL, only_run(strip), 2)
    events = found.tables["events"]
    what, at = events["what"].tolist(), events["before_s"].to_numpy()
    assert np.all(np.diff(at) >= 0) and at[0] == pytest.approx(-4.5) and at[-1] == 0
    number = {name: what.count(name) for name in set(what)}
    assert number == {"position": 14, "death": 2, "enemy_shot": 2, "shot": 1, "input": 1}
    death = np.flatnonzero(events["what"] == "death")
    assert at[death].tolist() == [-4.0, 0.0] and events["x"][death].tolist() == [150.0, 46.0]
    assert events["value"][events["what"] == "input"].tolist() == [777.0]


def test_the_sentence_says_how_far_the_player_got_since_the_killing_shot(strip):
    found = one_death.find(reader_of(strip), ALL, only_run(strip), 2)
    # The shot was fired 1,000 ms before, at the sample in (37, 56): 3 steps of 5 pixels since, none after them.
    assert found.facts["shot_s"] == -1.0 and found.facts["moved_px"] == pytest.approx(15.0)
    assert found.facts["spawn_s"] == -3.0 and found.facts["stage"] == "stage 2 boss"
    assert found.sentence == (
        "The killing shot hit 1,000 ms after it was fired, 4.33 times the 231 ms that a simple human reaction takes; "
        "meanwhile P01 moved 15 pixels. In the 3 s before the death: 1 own shot, 2 enemy shots (1 aimed)."
    )


def test_a_shot_that_nobody_reacts_to_and_too_few_samples(strip):
    found = one_death.find(reader_of(strip), ALL, only_run(strip), 1)
    assert found.sentence == (
        "The killing shot hit 90 ms after it was fired, less than the 100 ms in which nobody reacts. "
        "No shots, pick-ups or presses were logged in the 1 s before the death."
    )
    assert found.facts["moved_px"] is None


def test_a_jump_to_the_next_life_is_no_way(tmp_path):
    test = Playtest()
    test.event("begin", 1000, who=1, left=2)
    test.event("died", 1000, x=150, y=100, age=500)
    test.event("alive", 100)
    for x in (10, 11, 12):
        test.event("at", 100, x=x, y=10)
    test.event("died", 0, x=12, y=10, age=2000)
    with test.study(tmp_path) as study:
        assert one_death.find(reader_of(study), ALL, only_run(study), 2).facts["moved_px"] == 2.0


@pytest.mark.parametrize(
    ("kinds", "words"),
    [
        (("begin", "over", "gone"), "neither where the player went nor when a killing shot was fired"),
        (("begin", "over", "gone", "at"), "P01 moved 9 pixels in the last 5 s; no shot that killed is logged"),
    ],
)
def test_a_game_that_logs_less_says_so(kinds, words, tmp_path, monkeypatch):
    gone = {"name": "gone", "role": "death", "fields": []}
    monkeypatch.setattr(playtest, "KINDS", [*playtest.KINDS, gone])
    test = Playtest()
    test.event("begin", 1000, who=1)
    for x in range(10) if "at" in kinds else ():
        test.event("at", 500, x=x, y=0)
    test.event("gone", 500)
    with test.study(tmp_path, kinds) as study:
        reader = reader_of(study)
        listed = one_death.deaths_at(reader, ALL)
        found = one_death.find(reader, ALL, int(listed.rows["run_id"][0]), int(listed.rows["life"][0]))
    assert listed.place is None and listed.deaths == 1 and listed.rows["cause"].tolist() == [""]
    assert words in found.sentence


def test_the_length_of_a_way():
    assert path_px(np.array([0, 3, 3]), np.array([0, 4, 10])) == 11.0
    assert path_px(np.array([7]), np.array([7])) == 0.0 == path_px(np.zeros(0), np.zeros(0))
