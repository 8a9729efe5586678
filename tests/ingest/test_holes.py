"""What FORMAT.md decides where a log does what it need not: worked out by hand from its sections 5 and 7."""

from pathlib import Path

import pytest

from ingest.study.store import Study
from ingest.wire.checksum import crc16
from ingest.wire.cobs import stuff
from tests.ingest.studies import Line, dictionary, event, imported, log_of, rows
from tests.reference import packet_in

KINDS: dict[str, tuple[str | None, dict[str, str]]] = {
    "begin": ("run_start", {"late": "u16 ago"}),
    "over": ("run_end", {"how": "u8 ending"}),
    "enter": ("stage_start", {"n": "u8 stage", "boss": "u8 stage_kind"}),
    "leave": ("stage_end", {"ok": "u8 cleared"}),
    "fell": ("death", {"lives": "u8 lives"}),
    "due": ("note", {"in_": "u16 ahead", "level": "u8 level"}),
    "key": ("press", {"late": "u16 ago"}),
}


def play(study: Study, tmp_path: Path, *events: Line, without: str = "") -> None:
    kinds = {name: kind for name, kind in KINDS.items() if name != without}
    imported(study, tmp_path / "a.playlog", [dictionary(kinds), *events])


@pytest.mark.parametrize(("how", "lives", "ending"), [(7, 2, "finished"), (3, 0, "game_over")])
def test_an_ending_that_is_none_counts_as_none(study: Study, tmp_path: Path, how: int, lives: int, ending: str) -> None:
    play(study, tmp_path, event(1, "begin"), event(2, "fell", lives=lives), event(5, "over", how=how))
    assert rows(study, "SELECT ending FROM runs") == [(ending,)]


def test_a_time_may_lie_before_zero(study: Study, tmp_path: Path) -> None:
    play(study, tmp_path, event(5, "begin", late=30), event(50, "over", how=0))
    assert rows(study, "SELECT start_us, end_us FROM runs") == [(-25_000, 50_000)]


@pytest.mark.parametrize(("how", "cleared"), [(0, True), (1, False), (2, None)])
def test_a_stage_without_its_end(study: Study, tmp_path: Path, how: int, cleared: bool | None) -> None:
    play(study, tmp_path, event(1, "begin"), event(2, "enter", n=1), event(9, "over", how=how))
    assert rows(study, "SELECT cleared FROM stages") == [(cleared,)]


def test_a_game_that_never_logs_the_end_of_a_stage(study: Study, tmp_path: Path) -> None:
    stages = [(1, 0), (1, 1), (1, 0), (2, 0), (1, 1)]
    entered = [event(2 + i, "enter", n=n, boss=boss) for i, (n, boss) in enumerate(stages)]
    play(study, tmp_path, event(1, "begin"), *entered, event(9, "over", how=2), without="leave")
    assert rows(study, "SELECT cleared FROM stages ORDER BY visit") == [(True,), (False,), (True,), (False,), (None,)]


def test_the_time_of_a_cut_is_that_of_the_last_record(study: Study, tmp_path: Path) -> None:
    """Not that of what it speaks of: a late press does not make the run shorter."""
    play(study, tmp_path, event(100, "begin"), event(700, "key", late=600), event(9000, "begin"), event(9100, "key"))
    assert rows(study, "SELECT start_us, end_us FROM runs ORDER BY number") == [
        (100_000, 700_000),
        (9_000_000, 9_100_000),
    ]


def test_what_says_nothing_new_moves_no_time(study: Study, tmp_path: Path) -> None:
    """Notes carry the level: only the one that changes it is an event that runs are built from, at its own time."""
    play(
        study,
        tmp_path,
        event(0, "begin"),
        event(100, "due", in_=100, level=1),
        event(150, "fell", lives=2),
        event(160, "due", in_=5000, level=1),
        event(1000, "fell", lives=0),
        event(1100, "over", how=1),
    )
    assert rows(study, "SELECT level, start_us, end_us FROM spells ORDER BY start_us, end_us") == [
        (None, 0, 200_000),
        (1, 200_000, 1_000_000),
    ]


def test_settings_behind_the_last_tunable_are_passed_over(study: Study, tmp_path: Path) -> None:
    tunables = [{"name": "lives", "value": 3, "min": 1, "max": 9}]
    log = log_of([dictionary(KINDS, tunables=tunables), event(1, "begin"), event(2, "over", how=0)])
    frames = [frame for frame in log.split(b"\0") if frame]
    packet = packet_in(frames[0])[:-2]
    assert packet[0] == 0x13 and packet[14] == 1
    longer = packet[:14] + b"\x02" + packet[15:] + (77).to_bytes(4, "little")
    frames[0] = stuff(longer + crc16(longer).to_bytes(2, "big"))
    result = imported(study, tmp_path / "b.playlog", b"\0" + b"\0".join(frames) + b"\0")
    assert result.rejected_packets == 0
    assert rows(study, "SELECT number, value FROM tunables") == [(0, 3)]
