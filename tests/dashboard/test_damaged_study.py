"""A study that is damaged while the dashboard is open: told in words by every page and command, and survived."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from dashboard.cli import main
from dashboard.command_line import exits
from dashboard.pages import PAGES
from dashboard.state.dashboard_session import Session
from dashboard.state.shared_study import SharedStudy
from dashboard.web.app import build_app

HOW = ("middle", "cut", "text")
# What a person can do about it.
REMEDY = "setscrew ingest --study NEW.duckdb LOGS..."


def damage(study: Path, how: str) -> None:
    """Bytes in the middle are overwritten, half of the file is cut off, or a text takes its place."""
    size = study.stat().st_size
    with study.open("r+b") as file:
        if how == "middle":
            file.seek(size // 4)
            file.write(b"U" * (size // 2))
        else:
            file.truncate(size // 2 if how == "cut" else 0)
            file.write(b"no study\n" * (50 * (how == "text")))


@pytest.fixture
def opened(demo_study: Path, tmp_path: Path) -> Iterator[tuple[Path, FlaskClient]]:
    """A study that a dashboard holds, and a browser in front of it."""
    path = tmp_path / "class.duckdb"
    shutil.copyfile(demo_study, path)
    with SharedStudy(path) as shared:
        session = Session(shared)
        yield path, build_app(session).server.test_client()
        session.close()


@pytest.mark.parametrize("how", HOW)
def test_every_page_says_so_and_comes_back(opened: tuple[Path, FlaskClient], demo_study: Path, how: str) -> None:
    path, browser = opened
    damage(path, how)
    refused = []
    for page in PAGES:
        answer = browser.get(f"/part.json?page={page.path}&search=")
        assert answer.status_code in (200, 503), (page.path, answer.text)
        if answer.status_code == 503:
            assert str(path) in answer.text and REMEDY in answer.text and "\n" not in answer.text
            refused.append(page.path)
    # What was in memory or rests on no run may still be shown.
    assert {"/deaths", "/survival", "/trust"} <= set(refused)
    assert browser.get("/state.json").status_code == 200
    shutil.copyfile(demo_study, path)  # the copy from before
    for page in PAGES:
        assert browser.get(f"/part.json?page={page.path}&search=").status_code == 200, page.path


@pytest.mark.parametrize("how", HOW)
@pytest.mark.parametrize(
    "words",
    [
        ["findings"],
        ["compare"],
        ["roles"],
        ["forget", "soot_wardens_a_table1.playlog"],
        ["report", "--no-proposals", "--out", "report"],
    ],
    ids=lambda words: words[0],
)
def test_every_command_says_so(
    demo_study: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    words: list[str],
    how: str,
) -> None:
    path = tmp_path / "class.duckdb"
    shutil.copyfile(demo_study, path)
    damage(path, how)
    monkeypatch.chdir(tmp_path)
    assert main([words[0], "--study", str(path), *words[1:]]) == exits.INPUT
    said = capsys.readouterr().err
    assert str(path) in said and REMEDY in said
