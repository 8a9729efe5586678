"""What people say about runs: kept beside the logs, obeyed by every finding, and undone."""

import pytest

from analysis.selection import Selection
from dashboard.pages.runs_page import _words
from dashboard.pages.runs_page import say as say_of_a_game


def say(session, run, **what):
    return say_of_a_game(session, "Soot Wardens", run, **what)


def first_run(session):
    runs = session.ask("runs_listed", game="Soot Wardens", most=1000)
    chosen = next(i for i in range(len(runs["run_id"])) if not runs["team"][i])
    return _words(runs, chosen), int(runs["run_id"][chosen])


def listed(session, run_id):
    runs = session.ask("runs_listed", game="Soot Wardens", most=1000)
    i = list(runs["run_id"]).index(run_id)
    return {name: column[i] for name, column in runs.items()}


def test_a_run_marked_as_not_valid_is_kept_and_left_out(own_session):
    selection = Selection("Soot Wardens")
    run, run_id = first_run(own_session)
    before = own_session.basis(selection)
    assert (
        say(own_session, run, valid=False, reason=" ")
        == "Say why the run is not valid; the reason is kept with the run."
    )
    assert own_session.basis(selection) == before
    say(own_session, run, valid=False, reason="somebody pulled\nthe cable")
    after = own_session.basis(selection)
    assert after.runs == before.runs - 1 and after.fingerprint != before.fingerprint
    assert listed(own_session, run_id)["invalid_reason"] == "somebody pulled the cable"
    assert own_session.undo() == "the note on a run"
    assert own_session.basis(selection) == before
    assert own_session.undo() is None


def test_a_run_can_count_again(own_session):
    run, run_id = first_run(own_session)
    say(own_session, run, valid=False, reason="wrong game")
    say(own_session, run, valid=True)
    assert listed(own_session, run_id)["valid"]


def test_tags_and_remarks(own_session):
    run, run_id = first_run(own_session)
    assert "Kept" in say(own_session, run, player="p7", remark="held it upside down")
    assert (listed(own_session, run_id)["player"], listed(own_session, run_id)["remark"]) == (
        "P07",
        "held it upside down",
    )
    assert say(own_session, run, remark="of no run") == "Choose a run from the list first."
    now = own_session.ask("runs_listed", game="Soot Wardens", most=1000)
    say(own_session, _words(now, list(now["run_id"]).index(run_id)), remark="second remark")
    assert listed(own_session, run_id)["remark"] == "held it upside down; second remark"


@pytest.mark.parametrize("tag", ["Anna", "P0", "P256", "'; DROP TABLE runs; --"])
def test_names_are_refused_as_tags(own_session, tag):
    run, run_id = first_run(own_session)
    before = listed(own_session, run_id)["player"]
    assert "Kept" not in say(own_session, run, player=tag)
    assert listed(own_session, run_id)["player"] == before


def test_nothing_to_say(own_session):
    assert say(own_session, None) == "Choose a run from the list first."
    assert say(own_session, first_run(own_session)[0]) == "There is nothing to note."
