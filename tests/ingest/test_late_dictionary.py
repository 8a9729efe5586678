"""What was logged before its dictionary was complete, and then cut by a reset, is read with what comes later."""

from pathlib import Path

import pytest

from ingest.study.store import Status, Study, import_log, open_study
from tests.ingest.product import plainly, product
from tests.ingest.studies import Line, dictionary, event, imported, log_of, rows

KINDS = {
    "begin": ("run_start", {"who": "u8 player"}),
    "at": ("position", {"x": "u8 x", "y": "u8 y"}),
    "fell": ("death", {"x": "u8 x", "y": "u8 y", "why": "u8 cause"}),
    "over": ("run_end", {"how": "u8 ending"}),
}
LIVES = {"tunables": [{"name": "lives", "role": "start_lives", "value": 3}]}


def one_run(who: int, start: int) -> list[Line]:
    played = [event(start + 200 * i, "at", x=i, y=i) for i in range(1, 12)]
    return [
        event(start, "begin", who=who),
        *played,
        event(start + 3000, "fell", x=1, y=2, why=3),
        event(start + 3500, "over", how=1),
    ]


def frames(log: bytes) -> list[bytes]:
    return [frame + b"\0" for frame in log.split(b"\0") if frame]


def is_about(frame: bytes) -> bool:
    """Whether a frame holds a dictionary or settings packet."""
    return frame[1] in (0x12, 0x13)


def session(*, other: bool = False) -> bytes:
    """Two power-ups of one console with two runs each; `other`: flashed anew between them."""
    one = [dictionary(KINDS, **LIVES), *one_run(1, 1000), *one_run(2, 6000)]
    more = [*one_run(3, 1000), *one_run(4, 6000)]
    if other:
        return log_of(one) + log_of([dictionary(KINDS | {"new": (None, {})}, **LIVES), *more])
    return log_of([*one, {"power_up": 7}, *more])


def without_late_chunks(parts: list[bytes]) -> list[bytes]:
    """The first power-up's dictionary never complete: only its settings and its first chunk are left."""
    reset = next(i for i in range(6, len(parts)) if parts[i][1] == 0x13 and parts[i + 1][1] == 0x12)
    return parts[:2] + [frame for frame in parts[2:reset] if not is_about(frame)] + parts[reset:]


def test_the_dictionary_of_the_next_power_up_reads_it(study: Study, tmp_path: Path) -> None:
    log = b"\0" + b"".join(without_late_chunks(frames(session())))
    result = imported(study, tmp_path / "a.playlog", log)
    assert (result.runs, result.unread_bytes, result.power_ups) == (4, 0, 2)
    assert rows(study, "SELECT number, player, deaths, build FROM runs ORDER BY number") == [
        (n, f"P0{n}", 1, "1.0") for n in (1, 2, 3, 4)
    ]
    assert product([log]) == plainly(log)


def test_another_dictionary_does_not(study: Study, tmp_path: Path) -> None:
    log = b"\0" + b"".join(without_late_chunks(frames(session(other=True))))
    result = imported(study, tmp_path / "a.playlog", log)
    assert result.runs == 2 and result.unread_bytes > 0
    assert rows(study, "SELECT player FROM runs ORDER BY number") == [("P03",), ("P04",)]


def test_the_study_may_know_the_dictionary(tmp_path: Path) -> None:
    parts = without_late_chunks(frames(session()))
    reset = next(i for i in range(6, len(parts)) if parts[i][1] == 0x13 and parts[i + 1][1] == 0x12)
    short = b"\0" + b"".join(parts[:reset])
    whole = log_of([dictionary(KINDS, **LIVES), *one_run(9, 1000)])
    for known_first in (True, False):
        with open_study(tmp_path / f"{known_first}.duckdb") as study:
            if known_first:
                imported(study, tmp_path / "whole.playlog", whole)
            result = imported(study, tmp_path / "short.playlog", short)
            if not known_first:
                assert result.runs == 0 and result.unread_bytes > 0
                assert import_log(study, tmp_path / "short.playlog").status == Status.UNCHANGED
                imported(study, tmp_path / "whole.playlog", whole)
                # The same bytes again: now they can be read.
                result = import_log(study, tmp_path / "short.playlog")
                assert result.status == Status.GROWN
            assert (result.runs, result.unread_bytes) == (2, 0)
            assert import_log(study, tmp_path / "short.playlog").status == Status.UNCHANGED
            players = rows(study, "SELECT player FROM runs ORDER BY capture_id, number")
            assert sorted(players) == [("P01",), ("P02",), ("P09",)]


@pytest.mark.parametrize("bent", [False, True])
def test_each_packet_lost_in_turn_takes_only_its_own_events(bent: bool) -> None:
    """However the dictionary is torn: no event is lost but those in the packet that is."""
    parts = frames(session())
    whole = product([b"\0" + b"".join(parts)])
    offsets = [1]
    for frame in parts:
        offsets.append(offsets[-1] + len(frame))
    held = {at: sum(event[1] == at for event in whole.events) for at in offsets[:-1]}
    assert sum(held.values()) == whole.count
    for i, frame in enumerate(parts):
        instead = bytes([*frame[:-3], frame[-3] ^ 1 or 2, *frame[-2:]]) if bent else b""
        log = b"\0" + b"".join([*parts[:i], instead, *parts[i + 1 :]])
        answer = product([log])
        assert answer.count == whole.count - held[offsets[i]] and answer.unread_bytes == 0
        assert answer == plainly(log)
