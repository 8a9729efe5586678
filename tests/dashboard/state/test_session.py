"""What a running dashboard remembers, works out once, and takes back."""

import threading
import time
from dataclasses import replace

import pytest

from analysis.findings import QUESTIONS
from analysis.selection import Selection
from dashboard.pages.import_page import import_all
from dashboard.state.jobs import Job, Jobs
from ingest.said.notes import note_run, take_back
from tests.dashboard.conftest import DEMO


def test_the_same_question_is_worked_out_once(read_session):
    asked = []

    def slowly():
        asked.append(1)
        time.sleep(0.2)
        return "answer"

    threads = [threading.Thread(target=lambda: read_session._once(("slow",), slowly)) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert asked == [1]


def test_an_error_is_not_remembered(read_session):
    def broken():
        raise ValueError("no")

    with pytest.raises(ValueError):
        read_session._once(("broken",), broken)
    assert read_session._once(("broken",), lambda: 7) == 7


def test_a_change_makes_all_answers_anew(own_session):
    selection = Selection("Soot Wardens")
    before, version = own_session.findings("deaths", selection), own_session.version
    assert own_session.findings("deaths", selection) is before
    own_session.changed()
    assert own_session.version > version and own_session.findings("deaths", selection) is not before


def test_notes_keep_their_order_within_one_tick(own_session):
    connection = own_session.connection
    moments = [note_run(connection, "key", 1, remark=str(i)) for i in range(50)]
    assert moments == sorted(set(moments))
    take_back(connection, "run_notes", moments[-1])
    left = connection.cursor().execute("SELECT count(*) FROM run_notes WHERE capture_key = 'key'").fetchall()
    assert left == [(49,)]
    with pytest.raises(KeyError):
        take_back(connection, "runs", moments[0])


def test_jobs_report_cancel_and_fail():
    jobs = Jobs()
    going = threading.Event()

    def endless(job):
        going.set()
        while True:
            job.report(0.5, "still at it")
            time.sleep(0.01)

    def broken(job):
        raise RuntimeError("the disk is full")

    job, failed = jobs.start("endless", endless), jobs.start("broken", broken)
    assert going.wait(10)
    job.cancel()
    jobs.close()
    assert job.ended and job.at == "cancelled" and job.result is None
    assert failed.ended and failed.error == "the disk is full"


def test_an_import_is_taken_back_whole(own_session):
    before, games = own_session.reader.fingerprint(), own_session.games()
    content = (DEMO / "crate_loft_a_table1.playlog").read_bytes()
    job = Jobs().start("nothing", lambda job: None)
    verdicts = import_all(own_session, [("a.playlog", content), ("again.playlog", content)], job)
    assert [words.split(", ")[-1] for _, words, _ in verdicts] == ["new", "unchanged"]
    assert "Crate Loft" in own_session.games()
    assert own_session.last_change == "the import of a log"
    assert own_session.undo() == "the import of a log" and own_session.undo() is None
    assert own_session.reader.fingerprint() == before and own_session.games() == games


def test_the_import_of_a_log_that_has_grown_is_taken_back(own_session):
    content = (DEMO / "crate_loft_a_table1.playlog").read_bytes()
    half, job = content[: len(content) // 2], Jobs().start("nothing", lambda job: None)
    import_all(own_session, [("half.playlog", half)], job)
    listed = "SELECT * EXCLUDE (ingested_at) FROM captures ORDER BY capture_id"
    cursor = own_session.connection.cursor()
    before, held = own_session.reader.fingerprint(), cursor.execute(listed).fetchall()
    runs = cursor.execute(
        "SELECT number, start_us, end_us, ending, player, attempt FROM runs WHERE game = 'Crate Loft'"
    )
    runs_before = sorted(runs.fetchall(), key=str)
    verdicts = import_all(own_session, [("whole.playlog", content)], job)
    assert verdicts[0][1].endswith("grown") and own_session.reader.fingerprint() != before
    assert own_session.undo() == "the import of a log"
    assert own_session.reader.fingerprint() == before and cursor.execute(listed).fetchall() == held
    runs = cursor.execute(
        "SELECT number, start_us, end_us, ending, player, attempt FROM runs WHERE game = 'Crate Loft'"
    )
    assert sorted(runs.fetchall(), key=str) == runs_before
    assert own_session.undo() == "the import of a log" and "Crate Loft" not in own_session.games()


def test_what_authors_wrote_is_kept_and_taken_back(own_session):
    assert own_session.words() == {}
    own_session.keep_words({"title": "Lamps <first>", "consent": ""})
    own_session.keep_words({"title": "Lamps <first>", "consent": ""})  # the same again is no change
    own_session.keep_words({"title": "Lamps", "consent": "Asked."})
    assert own_session.words() == {"title": "Lamps", "consent": "Asked."}
    own_session.undo()
    assert own_session.words()["title"] == "Lamps <first>"
    own_session.undo()
    assert own_session.words() == {} and own_session.last_change is None


def test_what_people_ask_first_is_worked_out_ahead_for_every_game(read_session, monkeypatch):
    read_session.read_ahead(Job(1, "read ahead"))

    def never(*_: object) -> None:
        raise AssertionError("worked out again")

    for name, question in QUESTIONS.items():
        monkeypatch.setitem(QUESTIONS, name, replace(question, find=never))
    for game in read_session.games():
        asked = read_session.asked_of(game)
        assert len(asked) >= 5 and all(
            read_session.findings(question, read_session.of_game(game)) for question in asked
        )


def test_a_recording_is_followed_from_before_its_first_packet(own_session):
    """Nothing is said while a packet may still be on its way; noise is told of; what is read is in the study."""
    log = (DEMO / "crate_loft_a_table1.playlog").read_bytes()
    first = log.index(b"\0", 1) + 1
    folder, follower = own_session.captures.folder, own_session.follower
    follower.close()  # the test looks itself
    folder.mkdir()
    path, before, version = (folder / "just_begun.playlog", own_session.reader.fingerprint(), own_session.version)

    def grown(part: bytes) -> str | None:
        with path.open("ab") as recording:
            recording.write(part)
        follower._look()
        return follower.trouble.get(path.name)

    assert grown(log[: first - 1]) is None
    assert (own_session.reader.fingerprint(), own_session.version) == (before, version)
    assert grown(log[first - 1 : first]) is None
    assert own_session.reader.fingerprint() != before and own_session.version > version
    assert grown(log[first:]) is None and "Crate Loft" in own_session.games()

    path = folder / "wrong_rate.playlog"
    version = own_session.version
    said = grown(b"\x05abcdefghijklmn\0" * 3)
    assert said is not None and said.startswith("wrong_rate.playlog is not in the study yet: In 48 bytes")
    assert "baud rate" in said and own_session.version == version
    assert grown(log[-4000:]) is None and own_session.version > version
