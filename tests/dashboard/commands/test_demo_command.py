"""`setscrew demo`: a fresh study with all that the demo brings, thrown away unless it is wanted."""

import os
import signal
import subprocess
import sys
import tomllib
from pathlib import Path

import duckdb
import pytest

import demo_logs
from dashboard.cli import main
from dashboard.command_line import exits
from dashboard.pages import live_page
from dashboard.state.dashboard_session import Session
from ingest.capture.captures import Captures
from ingest.study.store import open_study
from tests.ingest.test_capture import FakeSource
from tests.needs import need

FOLDER = Path(demo_logs.__file__).parent


@pytest.fixture
def served(monkeypatch):
    """What the dashboard was started with; it ends at once, as with Ctrl-C."""
    calls = []

    def serve(study, recordings, host, port, open_browser=True, pictures=None, thrown_away=False, game=None):
        captures = Captures(recordings)
        captures.start_source(FakeSource(b"abc", name="console"))
        captures.stop_all()
        calls.append((study.path, pictures, host, port, open_browser, recordings, thrown_away, game))
        study.close()

    monkeypatch.setattr("dashboard.web.serving.serve", serve)
    return calls


def test_every_demo_log_and_target_is_in_a_study_that_is_kept_when_it_was_named(tmp_path, served):
    path = tmp_path / "demo.duckdb"
    assert main(["demo", "--study", str(path), "--no-browser", "--port", "0"]) == exits.OK
    # The pictures of the stages are found again by `setscrew show` and `setscrew report`.
    assert (path.with_name(f"{path.stem}-pictures") / "soot_wardens.png").is_file()
    ((study, pictures, host, port, browser, recordings, thrown_away, game),) = served
    assert game in (FOLDER.parent / "README.md").read_text(encoding="utf-8")
    assert not thrown_away and recordings == tmp_path / "demo-recordings"
    assert len(list(recordings.glob("*.playlog"))) == len(list(recordings.glob("*.jsonl"))) == 1
    assert (study, host, port, browser) == (path, "127.0.0.1", 0, False)
    assert list(pictures.rglob("*.png"))
    with duckdb.connect(str(path), read_only=True) as connection:
        names = {row[0] for row in connection.execute("SELECT name FROM captures").fetchall()}
        games = {row[0] for row in connection.execute("SELECT DISTINCT game FROM runs").fetchall()}
        wanted = {row[0] for row in connection.execute("SELECT game FROM targets").fetchall()}
    logs = {log.name for log in FOLDER.glob("*.playlog")}
    assert {Path(name).name for name in names} == logs
    targets = {tomllib.loads(t.read_text(encoding="utf-8"))["game"] for t in FOLDER.glob("targets_*.toml")}
    assert wanted == targets == games
    # The demo logs do not go into a study that is there already.
    assert main(["demo", "--study", str(path)]) == exits.INPUT
    assert len(served) == 1


@pytest.mark.parametrize("port", ["99999", "65536", "-1", "http", "8750.5", ""])
@pytest.mark.parametrize("command", ["demo", "show"])
def test_a_port_that_cannot_be_is_refused_before_anything_is_made(command, port, tmp_path, served, capsys):
    path = tmp_path / "new.duckdb"
    with pytest.raises(SystemExit) as ended:
        main([command, "--study", str(path), "--no-browser", f"--port={port}"])
    assert ended.value.code == exits.USAGE
    assert "0 (any that is free) to 65535" in capsys.readouterr().err
    assert not path.exists() and not served


@pytest.mark.parametrize("port", [0, 1, 65535])
def test_the_outermost_ports_are_allowed(port, tmp_path, served):
    assert main(["show", "--study", str(tmp_path / "a.duckdb"), "--port", str(port)]) == exits.OK
    assert served[0][3] == port


def test_a_study_that_was_not_named_is_thrown_away_and_that_is_said(served, monkeypatch, tmp_path, capsys):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    logs = tmp_path / "logs"
    logs.mkdir()
    (logs / "one.playlog").write_bytes((FOLDER / "one_puff_a_table1.playlog").read_bytes())
    (logs / "players.csv").write_bytes((FOLDER / "players.csv").read_bytes())
    monkeypatch.setattr(demo_logs, "__file__", str(logs / "__init__.py"))
    assert main(["demo", "--no-browser"]) == exits.OK
    ((study, _, _, _, _, recordings, thrown_away, _),) = served
    assert study.is_relative_to(tmp_path) and recordings.is_relative_to(tmp_path)
    assert thrown_away and not study.exists() and not recordings.exists()
    assert "--study FILE keeps both" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["logs"]


@pytest.mark.parametrize("thrown_away", [False, True])
def test_the_live_page_says_what_becomes_of_the_recordings(thrown_away, tmp_path):
    study = open_study(tmp_path / "a.duckdb")
    session = Session(study, tmp_path / "a-recordings", thrown_away)
    said = str(live_page.body(session, None))
    session.close()
    assert ("are deleted when the dashboard ends" in said) == thrown_away
    assert (f"are kept in {tmp_path / 'a-recordings'}" in said) != thrown_away


def test_a_request_to_end_leaves_nothing_behind(tmp_path):
    need(os.name != "nt", "Windows ends processes without asking them: run it on another system")
    words = [sys.executable, "-m", "dashboard.cli", "demo", "--no-browser", "--port", "0"]
    running = subprocess.Popen(words, env=os.environ | {"TMPDIR": str(tmp_path)}, stdout=subprocess.PIPE, text=True)
    assert running.stdout is not None and "runs" in running.stdout.readline()  # the first log is in
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith("setscrew-demo-")]
    running.terminate()
    assert running.wait(60) == exits.INTERRUPTED
    assert list(tmp_path.iterdir()) == []


def test_a_request_to_end_in_the_midst_of_a_query_ends_as_well(monkeypatch):
    def interrupted(_):
        raise RuntimeError("Query interrupted")  # as DuckDB 2.0 says it

    monkeypatch.setattr("dashboard.commands.ports_command.run", interrupted)
    before = signal.getsignal(signal.SIGTERM)
    try:
        assert main(["ports"]) == exits.INTERRUPTED
    finally:
        signal.signal(signal.SIGTERM, before)


def test_other_errors_of_a_command_stay_errors(monkeypatch):
    def broken(_):
        raise RuntimeError("no such thing")

    monkeypatch.setattr("dashboard.commands.ports_command.run", broken)
    before = signal.getsignal(signal.SIGTERM)
    try:
        with pytest.raises(RuntimeError, match="no such thing"):
            main(["ports"])
    finally:
        signal.signal(signal.SIGTERM, before)
