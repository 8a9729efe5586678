"""Tags against runs: what was lost or came late may make a player open, and never another one."""

import json
from pathlib import Path

import pytest

from ingest.assembling.whose import Came, Unseen, whose
from ingest.capture.sidecar import Said
from ingest.said.notes import note_run
from ingest.study.store import Study, import_log
from tests.bench.ingest.lost_packets import each_lost
from tests.ingest.studies import dictionary, event, imported, log_of, rows

KINDS = {
    "begin": ("run_start", {}),
    "at": ("position", {"x": "u8 x"}),
    "fell": ("death", {"x": "u8 x"}),
    "over": ("run_end", {"how": "u8 ending"}),
    "key": ("press", {}),
}


def said(*tags: tuple[int, str]) -> list[Said]:
    return [Said(byte, tag, at=byte / 10) for byte, tag in tags]


def test_a_tag_waits_for_the_next_run() -> None:
    answer = whose(said((10, "P01"), (250, "P02"), (260, "P03")), [Came(100, 10.0), Came(300, 30.0)])
    assert answer.players == ("P01", "P02") and answer.candidates == ((), ()) and answer.waiting == ("P03",)


def test_where_a_whole_run_may_be_lost_what_follows_is_open_until_the_tags_agree_again() -> None:
    tags = said((10, "P01"), (20, "P01"), (1500, "P02"), (1510, "P02"))
    runs = [Came(100, 10.0), Came(1000, 100.0), Came(2000, 200.0), Came(3000, 300.0)]
    whole = whose(tags, runs)
    assert whole.players == ("P01", "P01", "P02", "P02")
    answer = whose(tags, runs, [Unseen(500, 1)])
    assert answer.players == ("P01", None, "P02", "P02") and answer.candidates[1] == ("P01",)
    # Tags that were all given at first never agree again, but where the waiting ones are taken back.
    tags = said((10, "P01"), (11, "P02"), (12, "P03"), (13, "P04"), (14, "P05"))
    answer = whose(tags, runs, [Unseen(500, 1)])
    assert answer.players == ("P01", None, None, None) and answer.candidates[3] == ("P04", "P05")
    answer = whose([*tags, Said(1400, at=140.0), *said((1500, "P08"))], runs, [Unseen(500, 1)])
    assert answer.players == ("P01", None, "P08", None) and answer.candidates[3] == ()


def test_a_damaged_run_may_be_two_where_a_tag_waits() -> None:
    tags = said((10, "P01"), (200, "P02"))
    answer = whose(tags, [Came(100, 10.0, damaged=True), Came(900, 90.0)], [Unseen(500, 1)])
    assert answer.players == (None, None) and answer.candidates == (("P01", "P02"), ("P02",))


def test_a_tag_that_comes_late_is_for_one_of_two() -> None:
    runs = [Came(100, 10.0), Came(900, 90.0), Came(2000, 200.0)]
    answer = whose(said((150, "P01"), (1900, "P03")), runs)
    assert answer.players == (None, None, "P03") and answer.candidates == (("P01",), ("P01",), ())
    # Much later it is for the next one, as it always was.
    assert whose(said((600, "P01"), (1900, "P03")), runs).players == (None, "P01", "P03")


def test_a_run_that_began_before_the_log_may_have_no_tag_of_it() -> None:
    answer = whose(said((0, "P01")), [Came(1, 0.1, before=True), Came(900, 90.0)])
    assert answer.players == (None, None) and answer.candidates == (("P01",), ("P01",))


def test_ways_to_read_are_bounded() -> None:
    tags = said(*((i, f"P{i + 1:02d}") for i in range(200)))
    runs = [Came(1000 + 10 * i, 100.0 + i) for i in range(200)]
    answer = whose(tags, runs, [Unseen(1005 + 10 * i, 2) for i in range(150)])
    assert answer.players[0] == "P01" and not any(answer.players[140:])


@pytest.mark.parametrize("number", [0, 1, 2])
def test_a_run_whose_start_was_lost_takes_its_tag(study: Study, tmp_path: Path, number: int) -> None:
    lines = [dictionary(KINDS), event(500, "key")]
    for which, start in enumerate((10_000, 100_000, 200_000)):
        lines += [{"drop": 1}] if which == number else [event(start, "begin")]
        lines += [event(start + 600, "at", x=1), event(start + 3000, "fell", x=2), event(start + 3500, "over", how=1)]
        lines += [event(start + 9000, "key")]
    log = log_of(lines)
    path = tmp_path / "a.playlog"
    side = [{"capture": 1, "started": "2026-03-01T09:30:00+00:00", "source": "COM3"}]
    side += [{"at": 0.1 + 0.1 * i, "byte": 5, "player": f"P0{i + 1}"} for i in range(3)]
    path.with_suffix(".capture.jsonl").write_text("".join(json.dumps(line) + "\n" for line in side), encoding="utf-8")
    result = imported(study, path, log)
    assert (result.runs, result.lost_starts, result.open_runs, result.damaged_runs) == (3, 1, 0, 1)
    assert rows(study, "SELECT number, player, begun, damaged, deaths, ending FROM runs ORDER BY number") == [
        (n + 1, f"P0{n + 1}", "lost" if n == number else "seen", n == number, 1, "game_over") for n in range(3)
    ]
    start = rows(study, "SELECT start_us // 1000, alive_us FROM runs WHERE begun = 'lost'")
    assert start == [((10_000, 100_000, 200_000)[number] + 600, 2_400_000)]
    assert rows(study, "SELECT inferred FROM lives ORDER BY run_id") == [(n == number,) for n in range(3)]


def test_events_outside_runs_are_no_run_where_nothing_is_missing(study: Study, tmp_path: Path) -> None:
    """A game that shows itself between runs, and one of whose idle packets is lost."""
    lines = [dictionary(KINDS)]
    for start in (10_000, 100_000):
        lines += [event(start, "begin"), event(start + 3000, "fell", x=2), event(start + 3500, "over", how=1)]
        lines += [event(start + 9000, "at", x=7), {"drop": 1}, event(start + 12_000, "at", x=7)]
    assert imported(study, tmp_path / "a.playlog", lines).lost_starts == 0


def test_an_open_run_counts_for_nobody_until_somebody_says(study: Study, tmp_path: Path) -> None:
    lines = [dictionary(KINDS | {"begin": ("run_start", {"who": "u8 player"})})]
    lines += [event(1000, "begin", who=1), event(2000, "fell", x=1), event(2500, "over", how=1), {"drop": 1}]
    lines += [event(9000, "at", x=1), event(9500, "fell", x=1), event(9900, "over", how=1)]
    result = imported(study, tmp_path / "a.playlog", lines)
    assert (result.runs, result.lost_starts, result.open_runs) == (2, 1, 1)
    assert rows(study, "SELECT tagged, open FROM runs ORDER BY number") == [(True, False), (False, True)]
    ((key,),) = rows(study, "SELECT capture_key FROM captures")
    note_run(study.connection, key, 2, player="P05")
    assert rows(study, "SELECT player, open FROM runs WHERE number = 2") == [("P05", False)]
    assert import_log(study, tmp_path / "a.playlog").open_runs == 0


@pytest.mark.parametrize("habit", ["mixed", "late"])
def test_no_lost_packet_gives_a_run_to_another_player(habit: str) -> None:
    """The short form of the table in CAPTURE.md: every run is its player's, or open, or not there at all."""
    table = each_lost(5, habit, every=9, runs=(4,))
    assert sum(row["packets"] for row in table.values()) > 8
    assert all(row["wrong"] == 0 for row in table.values())
    if habit == "mixed":
        assert all(row["right"] == 4 * row["packets"] for row in table.values())
