"""Answers are kept until the study changes, and nobody can spoil what others hold."""

import threading
from pathlib import Path

import numpy as np
import pytest

import demo_logs
from analysis.reader import Reader, RememberingReader
from analysis.selection import Selection
from ingest.said.notes import note_run
from ingest.study.store import import_log, open_study

QUESTION = "study_games"


@pytest.fixture
def connection(tmp_path):
    with open_study(tmp_path / "s.duckdb") as study:
        yield study.connection


def counting(connection, monkeypatch, **settings):
    asked = []
    plain = Reader._columns

    def columns(self, text, parameters):
        asked.append(text)
        return plain(self, text, parameters)

    monkeypatch.setattr(Reader, "_columns", columns)
    return RememberingReader(connection, **settings), asked


def test_a_question_is_asked_once_until_the_study_changes(connection, monkeypatch):
    reader, asked = counting(connection, monkeypatch)
    first = reader.ask(QUESTION)
    reader.ask(QUESTION)["game"] = np.zeros(3)  # one's own dict is one's own
    assert len(asked) == 1 and list(reader.ask(QUESTION)) == list(first)
    reader.forget()
    reader.ask(QUESTION)
    assert len(asked) == 2
    reader.ask("game_stages", game="A")
    reader.ask("game_stages", game="B")
    assert len(asked) == 4


def test_kept_answers_cannot_be_written_to(connection):
    column = next(iter(RememberingReader(connection).ask("fingerprint").values()))
    with pytest.raises(ValueError, match="read-only"):
        column[...] = None


def test_what_is_too_large_is_given_and_not_kept(connection, monkeypatch):
    reader, asked = counting(connection, monkeypatch, most_bytes=0)
    reader._columns("SELECT range AS n FROM range(100)", {})
    reader._columns("SELECT range AS n FROM range(100)", {})
    assert len(asked) == 2


@pytest.fixture
def played(tmp_path):
    """The connection of a study with a log of Crate Loft in it."""
    path = Path(demo_logs.__file__).parent / "crate_loft_a_table1.playlog"
    with open_study(tmp_path / "played.duckdb") as study:
        import_log(study, path)
        yield study.connection


SELECTIONS = [Selection("Crate Loft"), Selection("Crate Loft", first_attempt=1, last_attempt=1), Selection("None")]


def test_kept_runs_answer_as_the_runs_themselves(played):
    plain, keeping = Reader(played), RememberingReader(played)
    for selection in SELECTIONS * 2:
        for query in ("run_ends", "stage_visits", "chosen_size", "roles"):
            for name, column in plain.ask_chosen(query, selection).items():
                np.testing.assert_array_equal(keeping.ask_chosen(query, selection)[name], column)


OF_RUNS = {
    "attempts_apart": {"game": "Crate Loft"},
    "builds_played": {"game": "Crate Loft", "include_team": True},
    "capture_alone": {"capture": 1},
    "game_players": {"game": "Crate Loft"},
    "games_declared": {},
    "people_numbered": {},
    "runs_listed": {"game": "Crate Loft", "most": 99},
    "study_games": {},
    "trust_captures": {"game": "Crate Loft"},
}


@pytest.mark.parametrize("query", OF_RUNS)
def test_questions_on_all_runs_are_asked_of_the_kept_ones_and_answered_the_same(query, played, monkeypatch):
    plain = Reader(played).ask(query, **OF_RUNS[query])
    keeping, asked = counting(played, monkeypatch)
    for name, column in keeping.ask(query, **OF_RUNS[query]).items():
        np.testing.assert_array_equal(column, plain[name])
    # Asked once, and that of the table: had that failed, it would have been asked of the study after it.
    assert len(asked) == 1 and "runs_kept." in asked[0] and len(next(iter(plain.values()))) > 0


def test_the_chosen_runs_are_those_of_the_study_as_it_is(played):
    reader = RememberingReader(played)
    before = reader.ask_chosen("chosen_size", SELECTIONS[0])["runs"][0]
    runs = reader.ask("runs_listed", game="Crate Loft", most=99)
    at = list(runs["run_id"]).index(reader.ask_chosen("run_ends", SELECTIONS[0])["run_id"][0])
    note_run(played, str(runs["capture_key"][at]), int(runs["number"][at]), valid=False, reason="fell down")
    assert reader.ask_chosen("chosen_size", SELECTIONS[0])["runs"][0] == before  # not told yet
    reader.forget()
    assert reader.ask_chosen("chosen_size", SELECTIONS[0])["runs"][0] == before - 1


def test_few_tables_are_kept_and_none_after_forgetting(played):
    def tables():
        return played.execute("SELECT count(*) FROM duckdb_tables() WHERE database_name = 'runs_kept'").fetchall()

    reader = RememberingReader(played)
    for attempt in range(1, 90):
        reader.ask_chosen("chosen_size", Selection("Crate Loft", last_attempt=attempt))
    assert tables() == [(64,)]
    reader.forget()
    assert tables() == [(0,)]


def test_asking_while_the_study_changes_is_answered(played):
    reader, failed = RememberingReader(played, most_bytes=0), []

    def ask():
        try:
            for _ in range(40):
                assert reader.ask_chosen("chosen_size", SELECTIONS[0])["runs"][0] > 0
        except Exception as error:
            failed.append(error)

    asking = [threading.Thread(target=ask) for _ in range(3)]
    for thread in asking:
        thread.start()
    while any(thread.is_alive() for thread in asking):
        reader.forget()
    assert failed == []


def test_a_study_open_for_reading_only_is_read_the_same_way(played, tmp_path):
    whole = RememberingReader(played).ask_chosen("chosen_size", SELECTIONS[0])
    played.close()
    with open_study(tmp_path / "played.duckdb", read_only=True) as study:
        assert RememberingReader(study.connection).ask_chosen("chosen_size", SELECTIONS[0]) == whole
