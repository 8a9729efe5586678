"""What does not apply (none in the log, NULL in the study) is never taken for a number by a finding."""

import numpy as np

from analysis.findings import QUESTIONS, deaths, games
from analysis.selection import Selection
from tests.analysis.playtest import GAME, Playtest, reader_of

ALL = Selection(GAME)


def _found(finders, reader):
    return {finding.id: finding for find in finders for finding in find(reader, ALL)}


def _nothing(value):
    return None


def test_a_death_that_no_shot_caused_had_no_young_shot(tmp_path):
    """Eight players die three times each: of a shot 150 ms old, of one 900 ms old, and into a wall."""
    test = Playtest()
    for who in range(1, 9):
        test.event("begin", 1000, who=who, left=3)
        for age, cause in ((150, 1), (900, 1), (None, 2)):
            test.event("died", 4000, x=80, y=60, why=cause, left=2, age=age)
            test.event("alive", 500, left=2)
        test.event("over", 1000, how=2)
    with test.study(tmp_path) as study:
        fairness = _found([deaths.find], reader_of(study))["deaths.fairness"]
    assert fairness.estimate.value == 0.5  # of the 16 by a shot; 8 of 24 had none
    assert (fairness.facts["deaths"], fairness.facts["all_deaths"]) == (16, 24)
    assert "of 16 deaths whose shot is known (of 24)" in fairness.sentence
    assert sorted(set(np.asarray(fairness.tables["ages"]["age_ms"]).tolist())) == [150, 900]
    assert fairness.tables["bands"]["deaths"].tolist() == [0, 8, 8]


def test_trials_that_had_no_outcome_are_no_misses(tmp_path):
    test = Playtest()
    for who in range(1, 9):
        test.event("begin", 1000, who=who)
        for n in range(10):
            test.event("puff", 500, ok=None if n == 3 else int(n != 9), off=None if n == 5 else 2, fast=100 + n)
        test.event("over", 500, how=2)
    with test.study(tmp_path) as study:
        streaks = _found([games.find], reader_of(study))["genres.streaks"]
    assert streaks.facts["longest"] == 8 and streaks.tables["hazard"]["shots"][0] == 8


def test_every_question_can_be_asked_where_anything_may_be_none(tmp_path):
    """Every field of every kind is none in one of three runs of each player."""
    test = Playtest()
    for who in range(1, 9):
        for n in range(3):
            v = _nothing if n == 1 else int
            test.event("begin", 1000, who=who, team=v(0), new=v(1), left=v(3), tier=v(0), lv=v(1))
            test.event("enter", 10, stage=v(1), boss=v(0), left=v(3), tier=v(0))
            for m in range(12):
                test.event("at", 200, x=v(10 * m), y=v(60))
                test.event("fire", 50, x=v(80), y=v(0), aim=v(m % 2))
                test.event("shoot", 10)
                test.event("due", 100, lane=v(m % 2))
                test.event("push", 10 + m, lane=v(m % 2))
                test.event("knob", 0, raw=500, lane=v(0))
                test.event("slow", 20, ms=v(40))
                test.event("puff", 50, ok=v(min(m % 3, 1)), off=v(m), fast=v(10 + m))
                test.event("piece", 10, shape=v(m % 3), lv=v(1))
                test.event("rest", 400, x=v(8 * m), y=v(100), shape=v(m % 3))
                test.event("rows", 0, n=v(1))
                test.event("faster", 0, lv=v(1 + m // 4))
                if m % 5 == 4:
                    test.event("died", 100, x=v(9 * m), y=v(60), why=v(1), left=v(2), tier=v(0), age=v(200))
                    test.event("alive", 300, left=v(2), tier=v(0))
            test.event("leave", 100, done=v(1))
            test.event("over", 100, how=v(0), points=v(10))
            test.event("stars", 100, value=v(70))
    with test.study(tmp_path) as study:
        found = _found([question.find for question in QUESTIONS.values()], reader_of(study))
    assert len(found) > 25
    for finding in found.values():
        words = f"{finding.sentence} {' '.join(finding.warnings)}".lower()
        assert "nan" not in words.split() and "none ms" not in words, finding.id
        if finding.estimate is not None and finding.estimate.value is not None:
            assert np.isfinite(finding.estimate.value), finding.id
