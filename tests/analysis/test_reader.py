"""What a query answers: columns of one kind each, whatever is missing in them."""

import duckdb
import numpy as np
import pytest

from analysis.reader import Reader


@pytest.fixture
def columns(monkeypatch):
    def asked(text):
        monkeypatch.setattr("analysis.reader._sql", lambda query: text)
        with duckdb.connect() as connection:
            return Reader(connection).ask("any")

    return asked


def test_texts_are_texts_and_what_is_missing_is_told_without_a_mask(columns):
    found = columns("SELECT * FROM (VALUES ('a', 'x', 1, 2), ('b', NULL, NULL, 3)) t(whole, gap, number, count)")
    assert found["whole"].dtype.kind == "U" and found["whole"].tolist() == ["a", "b"]
    assert found["gap"].tolist() == ["x", None]
    assert found["number"][0] == 1 and np.isnan(found["number"][1])
    assert found["count"].dtype.kind == "i"
    assert not any(isinstance(column, np.ma.MaskedArray) for column in found.values())
    none = columns("SELECT * FROM (VALUES ('a', 1.0::DOUBLE)) t(text, number) WHERE false")
    assert none["text"].dtype.kind == "U" and none["number"].dtype == float and len(none.frame) == 0


def test_a_list_stays_a_list(columns):
    assert [list(one) for one in columns("SELECT ['a', 'b'] AS games UNION ALL SELECT []")["games"]] == [["a", "b"], []]


def test_some_rows_are_taken_by_truth_or_by_place_and_the_frame_is_the_same(columns):
    found = columns("SELECT * FROM (VALUES ('a', 1), ('b', 2), ('c', 3)) t(name, n)")
    assert found.where(found["n"] > 1)["name"].tolist() == ["b", "c"]
    assert found.where(np.array([2, 0]))["n"].tolist() == [3, 1]
    assert found.frame.to_dict("list") == {"name": ["a", "b", "c"], "n": [1, 2, 3]}
