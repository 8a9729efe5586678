"""`setscrew forget --player`: what goes is said first, files that still hold it are named, and nothing has it after."""

import io
import json
import re
import shutil
import zipfile
from pathlib import Path

import pytest

from dashboard.cli import main
from dashboard.command_line import exits
from ingest.said.notes import note_run
from ingest.said.rewriting import rewrite
from ingest.study.store import open_study
from tests.dashboard.commands.test_findings_command import documented
from tests.dashboard.conftest import DEMO
from tests.ingest.studies import rows

GAME = "Soot Wardens"
LOG = "soot_wardens_a_table1"


@pytest.fixture
def study(tmp_path, capsys, monkeypatch) -> str:
    """A study of one log, whose second run is P213's."""
    monkeypatch.chdir(tmp_path)
    for name in (f"{LOG}.playlog", f"{LOG}.capture.jsonl"):
        shutil.copy(DEMO / name, tmp_path / name)
    path = str(tmp_path / "own.duckdb")
    assert main(["ingest", "--study", path, str(tmp_path)]) == exits.OK
    with open_study(path) as opened:
        (key,) = rows(opened, "SELECT capture_key FROM captures")[0]
        note_run(opened.connection, key, 2, player="P213", remark="wore gloves")
        note_run(opened.connection, key, 1, remark="P213 looked on")
    capsys.readouterr()
    return path


def runs_of(study: str, tag: str) -> list[tuple]:
    with open_study(study, read_only=True) as opened:
        return rows(opened, "SELECT number FROM runs WHERE player = ?", tag)


def texts(folder: Path) -> str:
    """All that the files of a folder say, workbooks unpacked."""
    said = []
    for path in folder.rglob("*"):
        if path.suffix == ".xlsx":
            with zipfile.ZipFile(path) as book:
                said += [book.read(name).decode("utf-8", "replace") for name in book.namelist()]
        elif path.is_file():
            said.append(path.read_bytes().decode("utf-8", "replace"))
    return "\n".join(said)


def test_nothing_goes_without_a_yes(study, capsys, monkeypatch):
    for text in ("", "n\n"):
        monkeypatch.setattr("sys.stdin", io.StringIO(text))
        assert main(["forget", "--study", study, "--player", "P213"]) == exits.INTERRUPTED
        assert f"P213: 1 run of {GAME}" in capsys.readouterr().out
    assert runs_of(study, "P213") == [(2,)]


def test_neither_the_file_nor_tables_nor_the_report_have_the_player_afterwards(study, capsys, tmp_path):
    assert b"P213" in Path(study).read_bytes() and b"wore gloves" in Path(study).read_bytes()
    data = tmp_path / "before"
    assert main(["export", "--study", study, "--out", str(data), "--tags"]) == exits.OK
    assert "P213" in texts(data)
    capsys.readouterr()
    assert main(["forget", "--study", study, "--player", "213", "--yes"]) == exits.OK
    said = capsys.readouterr().out
    for name in (f"{LOG}.playlog", f"{LOG}.capture.jsonl"):
        assert str(tmp_path / name) in said
    assert "1 remark or version of the report's words in the study names P213 and stays" in said
    assert runs_of(study, "P213") == []
    assert b"wore gloves" not in Path(study).read_bytes()
    with open_study(study) as opened:  # the remark on another's run is what is left of the tag
        opened.connection.execute("DELETE FROM run_notes")
        rewrite(opened)
    assert b"P213" not in Path(study).read_bytes()
    assert main(["ingest", "--study", study, str(tmp_path)]) == exits.OK
    assert "1 of its runs is left out" in capsys.readouterr().out
    assert runs_of(study, "P213") == []
    for command in (["export", "--tags"], ["report", "--no-proposals"]):
        out = tmp_path / command[0]
        assert main([*command, "--study", study, "--out", str(out)]) == exits.OK
        found = texts(out)
        assert "P01" in found or command[0] == "report"
        assert GAME in found and "P213" not in found


def test_json(study, capsys, tmp_path):
    assert main(["forget", "--study", study, "--player", "P213", "--yes", "--json"]) == exits.OK
    printed = json.loads(capsys.readouterr().out)
    (keys,) = documented("`setscrew forget --study STUDY --player TAG --json`")
    assert set(printed) == keys
    assert (printed["runs"], printed["open_runs"], printed["notes"], printed["mentions"]) == (1, 0, 1, 1)
    assert printed["logs"] == [f"{LOG}.playlog"] and printed["games"] == [GAME]
    assert printed["files"] == [str(tmp_path / f"{LOG}{end}") for end in (".playlog", ".capture.jsonl")]


def test_logs_that_are_not_found_are_named_all_the_same(study, capsys, tmp_path):
    (tmp_path / f"{LOG}.playlog").unlink()
    assert main(["forget", "--study", study, "--player", "P213", "--yes"]) == exits.OK
    assert f"{LOG}.playlog and {LOG}.capture.jsonl, wherever they lie" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--player", "Anna"], "is no player tag"),
        (["--player", "P99"], "holds nothing of P99"),
        (["--player", "P213", f"{LOG}.playlog"], "not both"),
    ],
)
def test_what_cannot_be_meant_changes_nothing(study, capsys, words, says):
    before = Path(study).read_bytes()
    assert main(["forget", "--study", study, *words, "--yes"]) == exits.USAGE
    assert says in capsys.readouterr().err and Path(study).read_bytes() == before


def test_a_full_disk_is_told_before_anything_goes(study, capsys, monkeypatch):
    monkeypatch.setattr("ingest.said.rewriting.room_to_rewrite", lambda _: False)
    for words in (["--player", "P213"], [f"{LOG}.playlog"]):
        assert main(["forget", "--study", study, *words, "--yes"]) == exits.INPUT
        assert re.search("no room for a second\\s+one", capsys.readouterr().err)
    assert runs_of(study, "P213") == [(2,)]


def test_a_log_that_goes_leaves_no_byte_either(study, capsys):
    assert b"wore gloves" in Path(study).read_bytes()
    size = Path(study).stat().st_size
    assert main(["forget", "--study", study, f"{LOG}.playlog", "--yes"]) == exits.OK
    assert Path(study).stat().st_size < size / 2
