"""`setscrew forget`: what goes is said first, nothing goes without a yes, and the log can come in again."""

import io
import json
import shutil
from pathlib import Path

import pytest

from analysis.reader import Reader
from dashboard.cli import main
from dashboard.command_line import exits
from ingest.said.notes import note_run
from ingest.study.store import open_study
from tests.dashboard.commands.test_findings_command import documented
from tests.dashboard.conftest import DEMO, LOGS

THIRD = DEMO / f"{LOGS[2]}.playlog"


@pytest.fixture
def study(demo_study, tmp_path) -> str:
    copy = tmp_path / "own.duckdb"
    shutil.copy(demo_study, copy)
    return str(copy)


def state(study: str) -> tuple[str, list[str]]:
    with open_study(study, read_only=True) as opened:
        reader = Reader(opened.connection)
        return reader.fingerprint(), reader.ask("captures_held")["name"].tolist()


def answers(monkeypatch, text: str) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(text))


def test_a_log_goes_and_comes_back(study, capsys):
    before, names = state(study)
    with open_study(study) as opened:
        key = "SELECT capture_key FROM captures WHERE name = 'tin_drizzle_a_table1.playlog'"
        note_run(opened.connection, opened.connection.execute(key).fetchall()[0][0], 1, remark="left-handed")
    noted, _ = state(study)
    assert main(["forget", "--study", study, "tin_drizzle_a_table1.playlog", "--yes"]) == exits.OK
    said = capsys.readouterr().out
    assert "tin_drizzle_a_table1.playlog: 27 runs, 6,744 events go from the study." in said
    assert "Played in no other log: Tin Drizzle" in said and "1 note on its runs stays" in said
    assert "which now holds 4 logs" in said
    fingerprint, left = state(study)
    assert left == [name for name in names if name != "tin_drizzle_a_table1.playlog"]
    assert fingerprint not in (before, noted)
    assert main(["ingest", "--study", study, str(DEMO / "tin_drizzle_a_table1.playlog")]) == exits.OK
    assert state(study)[0] == noted


def test_nothing_goes_without_a_yes(study, capsys, monkeypatch):
    before = state(study)
    for text in ("", "\n", "n\n", "yesterday\n"):
        answers(monkeypatch, text)
        assert main(["forget", "--study", study, str(THIRD)]) == exits.INTERRUPTED
        said = capsys.readouterr()
        assert "Take it out? [y/N]" in said.err and "Nothing was taken out" in said.err
    assert state(study) == before
    answers(monkeypatch, "Y\n")
    assert main(["forget", "--study", study, str(THIRD)]) == exits.OK
    assert len(state(study)[1]) == 4


def test_what_goes_is_told_as_it_is(study, capsys):
    """The logs of the second table were partly played by people of the first, whose attempts are counted anew."""
    with open_study(study, read_only=True) as opened:
        asked = opened.connection.execute(
            "SELECT player, count(DISTINCT name), bool_or(name = $name) FROM runs JOIN captures USING (capture_id) "
            "WHERE game = 'Soot Wardens' GROUP BY 1",
            {"name": THIRD.name},
        ).fetchall()
    here = [logs for _, logs, played in asked if played]
    assert main(["forget", "--study", study, THIRD.name, "--yes", "--json"]) == exits.OK
    printed = json.loads(capsys.readouterr().out)
    (gone,) = printed["taken_out"]
    assert gone["players"] == len(here) > 0
    assert gone["players_elsewhere_too"] == sum(logs > 1 for logs in here)
    assert gone["games"] == [] and len(gone["builds"]) == 1
    whole, more = documented("`setscrew forget --study STUDY [LOG...] --json`")
    listed = {"capture_id", "name", "bytes", "received_at", "events", "runs"}
    assert set(printed) == whole and set(gone) == listed | more
    assert len(printed["captures"]) == 4 and all(set(one) == listed for one in printed["captures"])


def test_a_file_that_has_grown_since_is_known_by_its_beginning(study, capsys, tmp_path):
    grown = tmp_path / "another name.playlog"
    grown.write_bytes(THIRD.read_bytes() + b"more of it\0")
    assert main(["forget", "--study", study, str(grown), "--yes"]) == exits.OK
    assert THIRD.name not in state(study)[1]


def test_without_a_log_they_are_listed(study, capsys):
    before = state(study)
    assert main(["forget", "--study", study]) == exits.OK
    said = capsys.readouterr().out
    assert [line.split(": ")[1].split(",")[0] for line in said.splitlines()[:-1]] == before[1]
    assert "5 logs in" in said and state(study) == before


def test_two_of_one_name_are_told_apart_by_number(study, capsys, tmp_path):
    with open_study(study) as opened:
        opened.connection.execute("UPDATE captures SET name = 'table.playlog' WHERE capture_id IN (1, 2)")
    before = state(study)
    assert main(["forget", "--study", study, "table.playlog", "--yes"]) == exits.USAGE
    assert "2 logs of this name, numbers 1, 2" in capsys.readouterr().err
    nowhere = tmp_path / "nowhere.playlog"
    nowhere.write_bytes(b"no log of the study")
    for word in ("tables.playlog", "99", str(nowhere)):
        assert main(["forget", "--study", study, "1", word, "--yes"]) == exits.USAGE
        assert f"{word}: the study holds no such log" in capsys.readouterr().err
    assert state(study) == before
    assert main(["forget", "--study", study, "2", "2", "--yes"]) == exits.OK
    assert len(state(study)[1]) == 4


def test_a_study_that_is_not_there_is_not_made(tmp_path: Path, capsys):
    assert main(["forget", "--study", str(tmp_path / "none.duckdb"), "x", "--yes"]) == exits.INPUT
    assert "there is no such study" in capsys.readouterr().err and not list(tmp_path.iterdir())
