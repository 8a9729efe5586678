"""A dashboard and commands on one study: whoever asks gets it, nobody overtakes a thread at work, changes are told."""

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from analysis.selection import Selection
from dashboard.state import shared_study
from dashboard.state.dashboard_session import Session
from dashboard.state.shared_study import SharedStudy
from ingest.said.notes import note_run
from ingest.study import wanted
from ingest.study.study_errors import StudyBusy, StudyError
from ingest.study.wanted import open_when_free
from tests.dashboard.conftest import DEMO, open_page, serve
from tests.needs import need
from tests.waiting import until

NOTE = """
import sys
from pathlib import Path
from ingest.study.wanted import open_when_free
from ingest.said.notes import note_run
with open_when_free(Path(sys.argv[1])) as study:
    note_run(study.connection, "key", 1, remark=sys.argv[2])
"""
HOLD = """
import sys
from pathlib import Path
from ingest.study.wanted import open_when_free
study = open_when_free(Path(sys.argv[1]), read_only=sys.argv[2] == "read")
print("held", flush=True)
sys.stdin.readline()
study.close()
"""
FINGERPRINT = """
import sys
from pathlib import Path
from analysis.reader import Reader
from ingest.study.wanted import open_when_free
print(Reader(open_when_free(Path(sys.argv[1]), read_only=True).connection).fingerprint())
"""
NOTES = "SELECT remark FROM run_notes ORDER BY noted_at"


def elsewhere(program: str, *words: object) -> subprocess.Popen[str]:
    """Another process."""
    command = [sys.executable, "-c", program, *map(str, words)]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def ended(process: subprocess.Popen[str]) -> None:
    _, said = process.communicate("\n", timeout=120)
    assert process.returncode == 0, said


def notes(shared: SharedStudy) -> list[str]:
    with shared.connection.cursor() as cursor:
        return [row[0] for row in cursor.execute(NOTES).fetchall()]


@pytest.fixture
def shared(tmp_path):
    with SharedStudy(tmp_path / "s.duckdb") as study:
        yield study


def test_another_process_writes_and_that_is_told(shared):
    told = threading.Event()
    shared.on_change(told.set)
    assert notes(shared) == []
    ended(elsewhere(NOTE, shared.path, "first"))
    assert told.wait(60), "nobody asked here, and yet it is known"
    assert notes(shared) == ["first"]
    told.clear()
    ended(elsewhere(HOLD, shared.path, "read"))
    assert notes(shared) == ["first"]
    assert not told.wait(0.5), "what was only read has not changed"
    assert [path.name for path in shared.path.parent.iterdir()] == ["s.duckdb"]


def test_a_thread_at_work_is_waited_for_and_its_own_further_questions_pass(shared, monkeypatch):
    """And what is asked here afterwards comes after the other process."""
    monkeypatch.setattr(wanted, "_STALE_S", 60.0)  # a busy machine may keep it from asking for a while
    with shared.writing() as study:
        other = elsewhere(NOTE, shared.path, "second")
        until(lambda: shared._wanted.heard)
        note_run(study.connection, "key", 1, remark="first")
        assert notes(shared) == ["first"]
        time.sleep(3 * wanted.TRY_S)
        assert other.poll() is None
    assert notes(shared) == ["first", "second"]
    ended(other)


def test_what_is_read_beside_one_who_reads_does_not_wait_and_what_is_written_does(shared):
    reader = elsewhere(HOLD, shared.path, "read")
    assert reader.stdout.readline() == "held\n"
    assert notes(shared) == []
    written = threading.Event()

    def write():
        with shared.writing() as study:
            note_run(study.connection, "key", 1, remark="mine")
        written.set()

    thread = threading.Thread(target=write)
    thread.start()
    for _ in range(5):
        assert notes(shared) == [] and not written.wait(0.1)
    ended(reader)
    assert written.wait(60)
    thread.join()
    assert notes(shared) == ["mine"]


def test_what_has_to_wait_for_too_long_says_so(shared, monkeypatch):
    monkeypatch.setattr(shared_study, "READING_PATIENCE_S", 0.3)
    writer = elsewhere(HOLD, shared.path, "write")
    assert writer.stdout.readline() == "held\n"
    with pytest.raises(StudyBusy, match="another command works on this study"):
        notes(shared)
    ended(writer)
    assert notes(shared) == []


def test_two_that_share_take_turns(shared, tmp_path):
    """Two dashboards on one study: both write, each knows what the other wrote, nothing is lost."""
    program = """
import sys
from pathlib import Path
from dashboard.state.shared_study import SharedStudy
from ingest.said.notes import note_run
with SharedStudy(Path(sys.argv[1])) as shared:
    for i in range(20):
        with shared.writing() as study:
            note_run(study.connection, "key", 1, remark=f"theirs {i}")
    print("done", flush=True)
    sys.stdin.readline()
"""
    other = elsewhere(program, shared.path)
    for i in range(20):
        with shared.writing() as study:
            note_run(study.connection, "key", 1, remark=f"mine {i}")
    assert other.stdout.readline() == "done\n"
    found = notes(shared)
    assert sorted(found) == sorted(f"{who} {i}" for who in ("mine", "theirs") for i in range(20))
    for who in ("mine", "theirs"):
        assert [one for one in found if one.startswith(who)] == [f"{who} {i}" for i in range(20)]
    ended(other)


def test_threads_and_other_processes_at_once(shared, monkeypatch):
    """Eight threads read, one writes, three other processes write: all of it arrives, nothing hangs."""
    monkeypatch.setattr(shared_study, "READING_PATIENCE_S", 250.0)
    over, wrong = threading.Event(), []

    def read():
        try:
            while not over.is_set():
                notes(shared)
        except Exception as error:
            wrong.append(error)

    threads = [threading.Thread(target=read) for _ in range(8)]
    for thread in threads:
        thread.start()
    others = [elsewhere(NOTE, shared.path, f"theirs {i}") for i in range(3)]
    for i in range(10):
        with shared.writing() as study:
            note_run(study.connection, "key", 1, remark=f"mine {i}")
    for other in others:
        ended(other)
    over.set()
    for thread in threads:
        thread.join(60)
    assert not wrong and len(notes(shared)) == 13


def test_a_process_that_was_killed_leaves_nothing_locked(shared, monkeypatch):
    need(hasattr(signal, "SIGKILL"), "this system has no kill -9")
    monkeypatch.setattr(wanted, "_STALE_S", 0.5)
    writer = elsewhere(HOLD, shared.path, "write")
    assert writer.stdout.readline() == "held\n"
    asking = elsewhere(HOLD, shared.path, "write")
    until((shared.path.parent / "s.duckdb.wanted").exists)
    asking.kill()
    writer.kill()
    asking.communicate()
    writer.communicate()
    assert notes(shared) == []
    until(lambda: not (shared.path.parent / "s.duckdb.wanted").exists())
    with shared.reading(), shared.writing() as study:  # held for writing: nobody has to let go
        assert not study.read_only


def test_who_does_not_hear_is_not_waited_for_long(tmp_path, monkeypatch):
    monkeypatch.setattr(wanted, "UNHEARD_S", 0.2)
    path = tmp_path / "s.duckdb"
    holder = elsewhere(HOLD, path, "write")
    assert holder.stdout.readline() == "held\n"
    with pytest.raises(StudyBusy, match=f"process {holder.pid}"):
        open_when_free(path)
    ended(holder)
    open_when_free(path).close()
    assert [one.name for one in tmp_path.iterdir()] == ["s.duckdb"]


def test_closing_ends_what_waits(shared):
    writer = elsewhere(HOLD, shared.path, "write")
    assert writer.stdout.readline() == "held\n"
    failed = []

    def wait():
        try:
            notes(shared)
        except StudyError as error:
            failed.append(error)

    thread = threading.Thread(target=wait)
    thread.start()
    until(lambda: shared._asking)
    shared.close()
    thread.join(60)
    assert len(failed) == 1
    ended(writer)


def test_a_study_that_has_gone_is_not_made_anew(shared):
    ended(elsewhere(NOTE, shared.path, "first"))
    writer = elsewhere(HOLD, shared.path, "write")
    assert writer.stdout.readline() == "held\n"
    if os.name != "nt":
        shared.path.unlink()
        ended(writer)
        with pytest.raises(StudyError, match="has gone"):
            notes(shared)
        assert not shared.path.exists()


def test_a_session_shows_what_a_command_wrote_and_keeps_its_answers_otherwise(demo_study, tmp_path):
    path = tmp_path / "s.duckdb"
    path.write_bytes(Path(demo_study).read_bytes())
    session = Session(SharedStudy(path), tmp_path / "recordings")
    try:
        selection = Selection("Soot Wardens")
        before, basis, version = (session.findings("deaths", selection), session.basis(selection), session.version)
        ended(elsewhere(HOLD, path, "write"))
        assert session.findings("deaths", selection) is before and session.version == version
        # Answers that are not kept come from tables that went with the connection.
        assert session.reader.ask_chosen("deaths", selection) is not None
        log = DEMO / "soot_wardens_b_table2.playlog"
        command = [sys.executable, "-m", "dashboard.cli", "ingest", "--study", str(path), str(log)]
        assert subprocess.run(command, capture_output=True, check=False).returncode == 0
        until(lambda: session.version > version)
        assert session.basis(selection).runs > basis.runs
        seen = elsewhere(FINGERPRINT, path).communicate(timeout=120)[0].strip()
        assert session.basis(selection).fingerprint == seen
    finally:
        session.close()


@pytest.mark.browser
def test_a_page_waits_for_a_command_and_comes_by_itself(chromium, demo_study, tmp_path, monkeypatch):
    monkeypatch.setattr(shared_study, "READING_PATIENCE_S", 0.2)
    path = tmp_path / "s.duckdb"
    path.write_bytes(Path(demo_study).read_bytes())
    session = Session(SharedStudy(path))
    try:
        for served in serve(session):
            writer = elsewhere(HOLD, path, "write")
            assert writer.stdout.readline() == "held\n"
            watched = open_page(chromium, served.address)
            watched.page.goto(f"{served.address}/survival?game=Soot+Wardens")
            watched.page.wait_for_selector("text=another command works on this study")
            ended(writer)
            watched.page.wait_for_selector("[data-finding]")
            watched.page.context.close()
            assert [one for one in watched.complaints if "503" not in one] == []
    finally:
        session.close()
