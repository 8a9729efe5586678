"""Before and after: by when builds were played, whatever the order of import; said so where that is not known."""

import json
import re
import shutil
from pathlib import Path

import pytest

from analysis.findings import progress
from analysis.findings.progress.builds_compared import UNORDERED
from analysis.reader import Reader
from analysis.selection import Selection
from dashboard import cli
from dashboard.command_line import exits
from dashboard.figures import has_figure
from dashboard.parts import build_order_form
from dashboard.state.dashboard_session import Session
from dashboard.web.app import build_app
from dashboard.web.shell import page_at
from ingest.study.store import import_log, open_study

DEMO = Path(__file__).parents[3] / "demo_logs"
LOGS = ("soot_wardens_a_table1", "soot_wardens_b_table1")
GAME = "Soot Wardens"
A, B = "lantern 1.3", "lantern 1.3 b"


def study_of(folder: Path, logs: tuple[str, ...], timed: bool) -> Path:
    """A study of demo logs, with or without the sidecars that tell when they were recorded."""
    folder.mkdir()
    with open_study(folder / "s.duckdb") as study:
        for log in logs:
            shutil.copy(DEMO / f"{log}.playlog", folder)
            if timed:
                shutil.copy(DEMO / f"{log}.capture.jsonl", folder)
            import_log(study, folder / f"{log}.playlog")
    return folder / "s.duckdb"


def compared(capsys, study: Path, *words: str, code: int = exits.OK) -> dict:
    assert cli.main(["compare", "--study", str(study), "--json", *words]) == code
    answer = json.loads(capsys.readouterr().out)
    del answer["study"]
    return answer


def test_the_later_build_is_after_in_either_order_of_import(tmp_path, capsys):
    forth = compared(capsys, study_of(tmp_path / "forth", LOGS, timed=True))
    back = compared(capsys, study_of(tmp_path / "back", LOGS[::-1], timed=True))
    assert forth == back
    assert (forth["before"], forth["after"], forth["unordered"]) == (A, B, [])
    changed = {c["tunable"]: (c["before"], c["after"]) for c in forth["changes"]}
    assert changed["lives_refill"] == (0, 1)


def test_an_order_that_nobody_knows_is_not_guessed(tmp_path, capsys):
    studies = [study_of(tmp_path / f"{n}", logs, timed=False) for n, logs in enumerate((LOGS, LOGS[::-1]))]
    for study in studies:
        answer = compared(capsys, study, code=exits.THIN)
        assert answer["unordered"] == [A, B] and answer["compared"] == [] and answer["changes"] == []
        assert cli.main(["header", "--study", str(study), "--out", str(tmp_path / "t.h")]) == exits.USAGE
        assert "--build" in capsys.readouterr().err and not (tmp_path / "t.h").exists()
    one, other = (compared(capsys, study, "--before", A, "--after", B) for study in studies)
    assert one == other and one["after"] == B and one["compared"]
    # One name of two is enough, either way round.
    assert compared(capsys, studies[0], "--after", A)["before"] == B
    assert compared(capsys, studies[0], "--before", A)["after"] == B


def test_who_knows_the_order_can_let_the_study_remember_it(tmp_path, capsys):
    study = study_of(tmp_path / "s", LOGS, timed=False)
    assert cli.main(["compare", "--study", str(study), "--after", B, "--remember"]) == exits.USAGE
    assert "--before" in capsys.readouterr().err
    said = compared(capsys, study, "--before", B, "--after", A, "--remember")
    assert (said["before"], said["after"]) == (B, A)
    kept = compared(capsys, study)
    assert (kept["before"], kept["after"], kept["unordered"]) == (B, A, [])
    assert kept["compared"] == said["compared"]
    # The newer word holds.
    compared(capsys, study, "--before", A, "--after", B, "--remember")
    assert compared(capsys, study)["after"] == B


@pytest.fixture
def session(tmp_path):
    session = Session(open_study(study_of(tmp_path / "s", LOGS, timed=False)))
    yield session
    session.close()


def test_targets_are_found_again_whatever_they_are_called(session):
    """Their names come from a file: they go into addresses and file names, and may differ by a sign alone."""
    names = ("half?", "half!", "a/b \u00fc <i>" + 80 * "x")
    wish = '[[target]]\noutcome = "finish"\nwanted = 0.5\nname = "{}"\n'
    session.add_target(GAME, "".join(wish.format(name) for name in names))
    session.note_order(GAME, [B], A)
    selection = Selection(GAME)
    _, *found = session.findings("progress", selection)  # the verdict first
    assert [(one.id, one.facts["target"]) for one in found] == [("progress.target", name) for name in names]
    assert len({one.key for one in found}) == 3
    assert all(re.fullmatch(r"[a-z0-9._-]{1,80}", one.key) for one in found)
    assert [session.finding(one.key, selection) for one in found] == found
    page = str(page_at("/progress").body(session, selection))
    client = build_app(session).server.test_client()
    for one in found:
        assert has_figure(one) == (one.estimate.value is not None) and f"/table/{one.key}/builds.csv" in page
        answer = client.get(f"/table/{one.key}/builds.csv?game={GAME}")
        assert answer.status_code == 200 and A in answer.text


def test_the_page_asks_and_the_answer_can_be_undone(session):
    selection = Selection(GAME)
    asked = str(page_at("/progress").body(session, selection))
    assert "not known which of" in asked and "/runs" in asked
    assert "not known which of" in str(build_order_form.section(session, GAME))
    assert build_order_form.say(session, GAME, A, "lantern 9") != "Kept. Undo takes it back."
    assert build_order_form.say(session, GAME, A, B) == "Kept. Undo takes it back."
    found = session.findings("progress", selection)
    assert found and all(finding.id != UNORDERED.id for finding in found)
    assert f"{A}, {B}" in str(build_order_form.section(session, GAME))
    # The filter's two builds are compared in the same order.
    both = progress.find(Reader(session.connection), Selection(GAME, builds=(B, A)))
    assert [one.title for one in both] == [one.title for one in found]
    session.undo()
    assert [finding.id for finding in session.findings("progress", selection)] == [UNORDERED.id]
