"""The demo's study, as `setscrew demo` makes it."""

import shutil
import tomllib
from pathlib import Path

import pytest

import demo_logs
from ingest.said.notes import add_target
from ingest.said.people import take_players
from ingest.study.store import import_log, open_study

DEMO = Path(demo_logs.__file__).parent


@pytest.fixture(scope="session")
def whole_demo(tmp_path_factory) -> Path:
    """All its logs, players and targets; to be read only."""
    path = tmp_path_factory.mktemp("whole") / "demo.duckdb"
    with open_study(path) as study:
        for log in sorted(DEMO.glob("*.playlog")):
            import_log(study, log)
        take_players(study.connection, DEMO / "players.csv")
        for targets in sorted(DEMO.glob("targets_*.toml")):
            text = targets.read_text(encoding="utf-8")
            add_target(study.connection, tomllib.loads(text)["game"], text)
    return path


@pytest.fixture
def beside_demo(whole_demo, tmp_path, monkeypatch) -> Path:
    """A folder to work in that holds the demo's study."""
    shutil.copy(whole_demo, tmp_path / "demo.duckdb")
    monkeypatch.chdir(tmp_path)
    return tmp_path
