"""The sidecar: tags go to the runs they were meant for, and damage never loses more than its own line."""

import json
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.assembling.whose import MOST_WAYS, Answer, Came, Unseen, whose
from ingest.capture import sidecar
from ingest.capture.player_tag import BadTag, player_tag
from ingest.capture.sidecar import MOST_REMARKS, Said, parse_sidecar, read_sidecar, remarks_of_runs, sidecar_path


def bind_tags(said: list[Said], starts: list[int]) -> Answer:
    return whose(said, [Came(start) for start in starts])


def test_tags_given_in_advance_go_to_runs_in_order():
    said = [Said(100, "P01"), Said(100, "P02")]
    assert bind_tags(said, [50, 100, 101, 900]).players == (None, "P01", "P02", None)


def test_a_tag_given_during_a_run_is_for_the_next_one():
    assert bind_tags([Said(60, "P05")], [50, 400]).players == (None, "P05")


def test_the_run_in_progress_can_be_tagged_and_corrected():
    said = [Said(10, "P01"), Said(60, "P02", current=True), Said(70, "P03")]
    assert bind_tags(said, [50, 400]).players == ("P02", "P03")


def test_a_tag_for_the_run_in_progress_before_any_run_tags_nothing():
    assert bind_tags([Said(10, "P02", current=True)], [50]).players == (None,)


def test_waiting_tags_can_be_taken_back():
    said = [Said(0, "P01"), Said(0, "P02"), Said(60, None), Said(70, "P09")]
    assert bind_tags(said, [50, 100]).players == ("P01", "P09")


@given(st.lists(st.integers(0, 1000)), st.lists(st.integers(0, 1000), unique=True))
def test_no_tag_is_used_twice_or_before_it_was_given(bytes_, starts):
    starts.sort()
    said = [Said(byte, f"P{n + 1:02d}") for n, byte in enumerate(sorted(bytes_))]
    given_at = {one.player: one.byte for one in said}
    used = [(tag, start) for tag, start in zip(bind_tags(said, starts).players, starts, strict=True) if tag]
    assert [tag for tag, _ in used] == [one.player for one in said[: len(used)]]
    assert all(start >= given_at[tag] for tag, start in used)
    assert bind_tags(said, starts).waiting == tuple(one.player for one in said[len(used) :])
    # None is left over while a later run goes without.
    if len(used) < len(said):
        later = [s for s in starts if s >= said[len(used)].byte]
        assert len(later) <= sum(start in later for _, start in used)


def test_remarks_belong_to_the_run_begun_last():
    said = [Said(10, remark="early"), Said(60, remark="a"), Said(99, remark="b"), Said(500, remark="c")]
    assert remarks_of_runs(said, [50, 400]) == [("a", "b"), ("c",)]


def test_damaged_lines_are_counted_and_passed_over():
    good = [
        {"capture": 1, "started": "2026-03-01T09:30:00+00:00", "source": "COM3", "baud": 115200},
        {"at": 1.5, "byte": 512},
        {"at": 2.0, "byte": 600, "player": "P07"},
        {"at": 2.5, "byte": 700, "remark": "x" * 5000},
        {"at": 3.0, "byte": 800, "lost": 12},
    ]
    bad = [
        "{",
        "[]",
        "null",
        '{"at": 1}',
        '{"at": NaN, "byte": 1}',
        '{"at": 1, "byte": -1}',
        '{"at": 1, "byte": 1, "player": "Ann"}',
        '{"at": 1, "byte": 5, "player": [7]}',
        "[" * 100_000,
        '{"at": 4.0, "by',
    ]
    lines = [json.dumps(line) for line in good]
    lines[2:2] = bad[:5]
    read = parse_sidecar("\n".join(lines + bad[5:]).encode() + b"\n\xff\xfe")
    assert read.unread_lines == len(bad) + 1
    assert (read.started, read.source) == ("2026-03-01T09:30:00+00:00", "COM3")
    assert read.arrivals == ((1.5, 512),)
    assert read.said[0] == Said(600, "P07", at=2.0)
    assert len(read.said[1].remark or "") == 400
    assert read.lost_bytes == 12


@pytest.mark.parametrize(("text", "tag"), [("P01", "P01"), ("p3", "P03"), (" 12 ", "P12"), ("P255", "P255")])
def test_tags_are_written_in_one_way(text, tag):
    assert player_tag(text) == tag


@pytest.mark.parametrize("text", ["", "P0", "P256", "Anna", "P01 Anna", "P-1", "P1.5", "٣", "PP1"])
def test_anything_else_is_refused_and_names_above_all(text):
    with pytest.raises(BadTag, match="no player tag"):
        player_tag(text)


def test_any_number_of_tags_and_remarks_takes_time_in_proportion():
    many = 30_000
    said = [Said(i, f"P{i % 90 + 1:02}") for i in range(many)]
    remarks = [Said(10 * i, remark="x" * 20) for i in range(many)]
    runs = [Came(many + 10 * i, sure=False, damaged=i % 3 == 0) for i in range(3000)]
    begun = time.process_time()
    assert len(bind_tags(said, [run.byte for run in runs]).waiting) == many - len(runs)
    answer = whose([*said, *(Said(many + 15 * i, "P99") for i in range(1000))], runs, [Unseen(many + 1, 30_000)] * 1000)
    assert max(len(candidates) for candidates in answer.candidates) <= 2 * MOST_WAYS + 2
    kept = remarks_of_runs(remarks, [run.byte for run in runs])
    assert len(kept) == len(runs) and max(map(len, kept)) == MOST_REMARKS
    # A hundred times less than what each with each would take.
    assert time.process_time() - begun < 8


def test_a_sidecar_longer_than_any_recording_writes_is_read_as_far_as_that(tmp_path, monkeypatch):
    log = tmp_path / "a.playlog"
    line = b'{"at": 1.0, "byte": 5, "player": "P01"}\n'
    sidecar_path(log).write_bytes(line * 10)
    monkeypatch.setattr(sidecar, "MAX_BYTES", 3 * len(line))
    read = read_sidecar(log)
    assert len(read.said) == 3 and read.unread_lines == 1
