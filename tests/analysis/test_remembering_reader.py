"""Answers are kept until the study changes, and nobody can spoil what others hold."""

import numpy as np
import pytest

from analysis.reader import Reader, RememberingReader
from ingest.store import open_study

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
