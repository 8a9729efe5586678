"""Roles corrected by the command and on the page of imports: listed, followed, undone, and wrong names told."""

import json
import shutil

import pytest

from analysis.selection import Selection
from dashboard.cli import main
from dashboard.command_line import exits
from dashboard.parts.role_form import correct, held_of, told, words
from dashboard.state.dashboard_session import Session
from ingest.study.store import import_log, open_study
from tests.dashboard.commands.test_findings_command import documented
from tests.dashboard.conftest import DEMO, open_page

LOG = "soot_wardens_a_table1.playlog"
GAME = "Soot Wardens"


@pytest.fixture
def study(tmp_path, monkeypatch):
    """A study of one log, which lies in a folder beside it."""
    (tmp_path / "night").mkdir()
    shutil.copy(DEMO / LOG, tmp_path / "night" / LOG)
    with open_study(tmp_path / "s.duckdb") as made:
        import_log(made, tmp_path / "night" / LOG)
    monkeypatch.chdir(tmp_path)
    return str(tmp_path / "s.duckdb")


def ask(study, capsys, *said):
    code = main(["roles", "--study", study, *said, "--json"])
    out = capsys.readouterr()
    return code, json.loads(out.out) if out.out else None, out.err


def role_of(answer, name):
    (found,) = (one for one in answer["roles"] if one["name"] == name)
    return found["role"], found["logged"]


def deaths(study):
    with open_study(study, read_only=True) as opened:
        return opened.connection.execute("SELECT sum(deaths) FROM runs").fetchall()[0][0]


def names(answer, what, role):
    return next(one["name"] for one in answer["roles"] if one["what"] == what and one["role"] == role)


def test_the_command_lists_sets_and_undoes(study, capsys):
    code, answer, _ = ask(study, capsys)
    assert code == exits.OK and answer["game"] == GAME
    assert [set(answer)] == documented("`setscrew roles ")
    died, fire = names(answer, "kind", "death"), names(answer, "tunable", "fire_period")
    before = deaths(study)
    assert before > 0
    code, answer, told = ask(study, capsys, "set", "kind", died, "none")
    assert code == exits.OK and role_of(answer, died) == (None, "death")
    assert answer["read_again"] == [LOG] and answer["not_at_hand"] == [] and told == ""
    assert deaths(study) == 0
    _, answer, _ = ask(study, capsys, "set", "tunable", fire, "drop_interval")
    assert role_of(answer, fire) == ("drop_interval", "fire_period") and answer["read_again"] == []
    _, answer, _ = ask(study, capsys, "undo")
    assert role_of(answer, fire) == ("fire_period", "fire_period") and role_of(answer, died)[0] is None
    code, answer, _ = ask(study, capsys, "undo")
    assert role_of(answer, died) == ("death", "death") and deaths(study) == before
    code, answer, told = ask(study, capsys, "undo")
    assert code == exits.USAGE and answer is None and "nothing to undo" in told
    assert main(["roles", "--study", study]) == exits.OK
    assert f"kind {died}: death" in capsys.readouterr().out


def test_a_log_that_is_gone_is_named(study, capsys, tmp_path):
    died = names(ask(study, capsys)[1], "kind", "death")
    (tmp_path / "night" / LOG).rename(tmp_path / "kept.bin")
    code, answer, told = ask(study, capsys, "set", "kind", died, "none")
    assert code == exits.OK and answer["not_at_hand"] == [LOG]
    assert LOG in told and "setscrew ingest" in told and deaths(study) > 0
    # It is known by its bytes, whatever it is called by now.
    _, answer, _ = ask(study, capsys, "set", "kind", died, "none", "--logs", str(tmp_path / "kept.bin"))
    assert answer["read_again"] == [LOG] and deaths(study) == 0


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (["set", "kind", "fall", "death"], "it has: "),
        (["set", "kind", "fall"], "set kind fell death"),
        (["set", "tunable", "lives", "dies"], "start_lives"),
        (["undo", "lives"], "undo"),
        (["--game", "Moth Run"], GAME),
    ],
)
def test_wrong_words_change_nothing(said, told, study, capsys):
    before = ask(study, capsys)[1]
    code, answer, error = ask(study, capsys, *said)
    assert code == exits.USAGE and answer is None and told in error
    assert ask(study, capsys)[1] == before


def test_the_page_corrects_and_undoes(study):
    with_roles = Session(open_study(study))
    try:
        selection = Selection(GAME)
        kind = next(one for one in with_roles.roles()[GAME] if one.role == "death")
        before = with_roles.reader.ask_chosen("run_ends", selection)["deaths"].sum()
        assert correct(with_roles, "nothing", "none") == "Choose a kind, field or tunable from the list first."
        assert "Say which role" in correct(with_roles, words(GAME, kind), " ")
        assert "the roles are" in correct(with_roles, words(GAME, kind), "dies")
        assert with_roles.last_change is None
        assert correct(with_roles, words(GAME, kind), "none") == "Kept. Undo takes it back."
        assert kind.name in str(held_of(with_roles.roles()))
        assert with_roles.reader.ask_chosen("run_ends", selection)["deaths"].sum() == 0 < before
        # A word of falling blocks in a staged game is told where it can be corrected.
        fire = next(one for one in with_roles.roles()[GAME] if one.role == "fire_period")
        assert not with_roles.odd_roles()
        correct(with_roles, words(GAME, fire), "drop_interval")
        assert "the logs hold" not in str(held_of(with_roles.roles()))
        assert "the logs hold" in str(told(with_roles))
        with_roles.undo()
        assert not with_roles.odd_roles()
        assert with_roles.undo() == f"the role of {kind.name}"
        assert with_roles.reader.ask_chosen("run_ends", selection)["deaths"].sum() == before
        assert kind.name not in str(held_of(with_roles.roles()))
    finally:
        with_roles.close()


def test_the_form_in_a_browser(chromium, served):
    watched = open_page(chromium, served.address, size=(1280, 900))
    page = watched.page
    page.goto(f"{served.address}/import")
    kind = next(one for one in served.session.roles()[GAME] if one.role == "pickup")
    page.fill("#role-name", words(GAME, kind))
    page.fill("#role-role", "none")
    page.click("#role-keep")
    page.wait_for_function("() => document.querySelector('#roles-result').innerText.includes('Kept.')")
    line = f"{words(GAME, kind)} is without a role"
    page.wait_for_function("line => document.querySelector('#role-held').innerText.includes(line)", arg=line)
    assert [one.role for one in served.session.roles()[GAME] if one.name == kind.name] == [None]
    assert watched.complaints == []
    page.context.close()
