"""What was lost on the way must not look like something that happened."""

import pytest

from analysis.findings import deaths, survival, trust
from analysis.findings.deaths.circumstances import RESPAWN
from analysis.selection import Selection
from ingest.said.notes import note_run
from tests.analysis.playtest import GAME, Playtest, reader_of


def test_a_lost_start_of_a_stage_is_not_a_stage_that_was_never_reached(tmp_path):
    test = Playtest()
    for who in range(1, 34):
        test.event("begin", 1000, who=who, left=1)
        if who in (7, 8):
            test.lines.append({"drop": 1})
        else:
            test.event("enter", stage=1)
        test.event("at", 10, x=1, y=1)
        if who % 2:
            test.event("leave", 3000, done=1)
            test.event("enter", stage=2)
        test.event("died", 2000, x=1, y=1)
        test.event("over", how=1)
    with test.study(tmp_path) as study:
        found = {one.id: one for one in survival.find(reader_of(study), Selection(GAME))}
    segments = found["survival.funnel"].tables["segments"]
    assert list(segments["entered"]) == [33, 17]
    assert list(segments["reach"]) == [1.0, pytest.approx(17 / 33)]


def test_a_lost_spawn_is_no_death_on_respawn(tmp_path):
    test = Playtest()
    for who in range(1, 13):
        test.event("begin", 1000, who=who, left=3)
        test.event("enter", stage=1)
        test.event("died", 4000, x=1, y=1, left=2)
        test.event("alive", 500, left=2)
        test.event("died", 4000, x=1, y=1, left=1)
        # The spawn is lost, and what came after it but for the last moment.
        test.lines.append({"drop": 9})
        test.event("at", 4000, x=1, y=1)
        test.event("died", 200, x=1, y=1, left=0)
        test.event("over", how=1)
    with test.study(tmp_path) as study:
        reader = reader_of(study)
        found = {one.id: one for one in deaths.find(reader, Selection(GAME))}
        curve = {one.id: one for one in survival.find(reader, Selection(GAME))}["survival.curve"]
    rows = found["deaths.circumstances"].tables["circumstances"].set_index("circumstance")
    assert rows.loc[RESPAWN, "share"] == 0
    assert curve.tables["curve"]["at_risk"][0] == 24
    assert sum(found["deaths.causes"].tables["causes"]["deaths"]) == 36


def test_a_run_whose_player_is_open_is_in_no_figure_until_somebody_says(tmp_path):
    test = Playtest()
    for who in range(1, 11):
        test.run(who, (3, 4))
    test.lines.append({"drop": 1})
    test.event("at", 9000, x=1, y=1)
    test.event("died", 3000, x=1, y=1)
    test.event("over", how=1)
    with test.study(tmp_path) as study:
        reader = reader_of(study)
        found = {one.id: one for one in trust.find(reader, Selection(GAME))}
        assert found["trust.open"].facts["open_runs"] == 1 and found["trust.open"].facts["lost_starts"] == 1
        assert list(found["trust.verdict"].tables["captures"]["open_runs"]) == [1]
        before = found["trust.damaged"]
        assert (before.runs, before.players) == (10, 10)
        ((key,),) = study.connection.execute("SELECT capture_key FROM captures").fetchall()
        note_run(study.connection, key, 11, player="P10")
        after = {one.id: one for one in trust.find(reader, Selection(GAME))}
    assert "trust.open" not in after
    assert (after["trust.damaged"].runs, after["trust.damaged"].players) == (11, 10)
