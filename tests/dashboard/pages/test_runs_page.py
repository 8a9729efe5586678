"""The list of runs: by when they were played, with the time of day, so that runs without a tag can be told apart."""

import re
import time
from collections.abc import Iterator

import pytest

from analysis.selection import Selection
from dashboard.pages.runs_page import opened_body, runs_table
from dashboard.state.dashboard_session import Session
from dashboard.web.opened import NOTHING
from ingest.study.store import import_log, open_study
from tests.ingest.studies import dictionary, event, imported, log_of, recorded_at, rows
from tests.needs import need

GAME = "Moth Run"
KINDS = {"begin": ("run_start", {}), "over": ("run_end", {"how": "u8 ending"})}
RUNS = 3


def log(first: int) -> bytes:
    """Three runs of three seconds, one a minute, by nobody in particular."""
    lines = [dictionary(KINDS)]
    for minute in range(RUNS):
        start = first + 60_000 * minute
        lines += [event(start, "begin"), event(start + 3000, "over", how=2)]
    return log_of(lines)


@pytest.fixture
def session(tmp_path, monkeypatch) -> Iterator[Session]:
    """Two consoles of one afternoon, recorded half a minute apart, and a log of which nobody knows the time."""
    need(hasattr(time, "tzset"), "Windows has its own way to say in which zone it is")
    study = open_study(tmp_path / "s.duckdb")
    for number, second in ((1, 0), (2, 30)):
        path = tmp_path / f"console{number}.playlog"
        capture = imported(study, path, log(1000 + number)).capture_id
        starts = rows(study, "SELECT start_byte FROM all_runs WHERE capture_id = ? ORDER BY number", capture)
        came = [(60.0 * minute, start + 1) for minute, (start,) in enumerate(starts)]
        recorded_at(path, f"2026-03-02T12:00:{second:02d}+00:00", *came)
        import_log(study, path)
    imported(study, tmp_path / "untimed.playlog", log(1009))
    study.connection.execute("UPDATE captures SET received_at = '2026-03-02 12:01:15' WHERE name LIKE 'untimed%'")
    with monkeypatch.context() as patch:
        patch.setenv("TZ", "XYZ-02:00")  # two hours before UTC
        time.tzset()
        session = Session(study)
        yield session
        session.close()
    time.tzset()


def test_the_newest_run_is_first_whichever_log_it_is_in(session):
    table = str(runs_table(session, GAME))
    lines = [re.findall(r"<td[^>]*>(.*?)</td>", line) for line in re.findall(r"<tr>(.*?)</tr>", table)[1:]]
    assert [(line[1], line[-3], line[-2]) for line in lines] == [
        ("2026-03-02 14:02", "console2.playlog", "3"),
        ("2026-03-02 14:02", "console1.playlog", "3"),
        ("2026-03-02 14:01", "console2.playlog", "2"),
        ("–", "untimed.playlog", "3"),
        ("–", "untimed.playlog", "2"),
        ("–", "untimed.playlog", "1"),
        ("2026-03-02 14:01", "console1.playlog", "2"),
        ("2026-03-02 14:00", "console2.playlog", "1"),
        ("2026-03-02 14:00", "console1.playlog", "1"),
    ]
    assert {line[0] for line in lines} == {"no tag"}


def test_a_run_is_chosen_by_its_time_of_day(session):
    body = str(opened_body(session, Selection(GAME), NOTHING))
    assert "no tag, attempt 1, at 14:02, 3 s, quit, run 3 of console2.playlog" in body
    assert "no tag, attempt 1, 3 s, quit, run 3 of untimed.playlog" in body


def test_the_live_page_has_the_newest_at_the_right(session):
    runs = session.ask("runs_recent", most=9)
    newest = session.ask("runs_listed", game=GAME, most=9)
    assert list(runs["run_id"]) == list(newest["run_id"])
