"""The real recorder on lines that carry too little: the PC says whether baud rate, polling or ring is to blame."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from analysis.quality import judge
from ingest.capture.live import Watch
from ingest.capture.sidecar import sidecar_path
from ingest.study.capture_counts import About, Notice
from ingest.study.store import Study, import_log, open_study
from ingest.vocabulary import EventRole, FieldRole, FieldType
from ingest.wire.dictionary import Dictionary, Field, Kind
from tests.recorder.native import Script
from tests.reference import packet_in

HZ = 1000
GAME = Dictionary(
    "Lantern",
    "7",
    HZ,
    (160, 128),
    (
        Kind("begin", EventRole.RUN_START),
        Kind("at", EventRole.POSITION, (Field("x", FieldType.U8, FieldRole.X), Field("y", FieldType.U8, FieldRole.Y))),
        Kind("over", EventRole.RUN_END),
    ),
)
HEAD = {"capture": 1, "started": "2026-03-01T09:30:00+00:00", "source": "COM3"}


@pytest.fixture
def study(tmp_path: Path) -> Iterator[Study]:
    with open_study(tmp_path / "s.duckdb") as opened:
        yield opened


def play(per_frame: int, *, each_s: int, ring: int = 512, seconds: int = 30, burst: int = 0) -> bytes:
    """What comes of a game that logs `per_frame` positions a frame at 50 frames a second, and `burst` more once in two
    seconds, over a line that takes `each_s` bytes a second, asked once a frame. Ten quiet seconds come first."""
    script = Script(GAME, [], ring_bytes=ring)
    quiet, last = 10 * HZ, (10 + seconds) * HZ
    for tick in range(0, quiet, 20):
        script.poll(tick)
        script.drain(tick, 300)
    script.event(quiet, "begin", {})
    for tick in range(quiet, last, 20):
        for _ in range(per_frame + (burst if tick % (2 * HZ) == 0 else 0)):
            script.event(tick, "at", {"x": tick % 160, "y": 7})
        script.poll(tick)
        script.drain(tick, each_s // 50)
    script.event(last, "over", {})
    for tick in range(last, last + 10 * HZ, 20):
        script.poll(tick)
        script.drain(tick, 300)
    return script.run()


def told(log: bytes, baud: int | None) -> Notice:
    watch = Watch()
    watch.feed(log)
    (notice,) = [one for one in watch.notices(baud) if one.about == About.DROPS]
    return notice


def test_a_line_that_is_full_is_too_slow() -> None:
    notice = told(play(10, each_s=960), 9600)
    assert "the line was full" in notice.what and "baud rate on both sides" in notice.remedy


def test_a_line_that_is_asked_once_a_frame_is_not() -> None:
    """A UART without a FIFO takes two bytes a frame."""
    notice = told(play(1, each_s=100), 115_200)
    assert "it sent only" in notice.what and "of the 11,520 bytes a second" in notice.what
    assert "send by interrupt" in notice.remedy and "baud rate" not in notice.remedy
    share = int(notice.what.split(" %")[0].rsplit(" ", 1)[1])
    assert 40 <= share <= 80, "of 50 events a second hardly half can go"


def test_without_a_baud_rate_both_are_named_with_what_tells_them_apart() -> None:
    notice = told(play(1, each_s=100), None)
    assert "send by interrupt" in notice.remedy and "baud rate on both sides" in notice.remedy


@pytest.mark.parametrize("baud", [None, 115_200])
def test_bursts_want_a_larger_ring(baud: int | None) -> None:
    """One frame in a hundred logs more than the ring holds; the line is free most of the time."""
    notice = told(play(1, each_s=11_500, burst=150), baud)
    assert "in bursts only" in notice.what and "larger ring" in notice.remedy


def test_who_is_to_blame_is_told_at_ingest_too(study: Study, tmp_path: Path) -> None:
    log = tmp_path / "a.playlog"
    log.write_bytes(play(1, each_s=100))
    sidecar_path(log).write_text(json.dumps(HEAD | {"baud": 115_200}) + "\n", encoding="utf-8")
    result = import_log(study, log)
    (notice,) = result.notices
    assert notice.about == About.DROPS and "it sent only" in notice.what and notice.byte_offset > 0
    words = judge(result).words
    assert notice.what in words and "send by interrupt" in words and "larger buffer" not in words


def without_dictionary(log: bytes) -> bytes:
    """As if every packet of it had found no room."""
    return b"".join(frame + b"\0" for frame in log.split(b"\0") if frame and packet_in(frame)[0] != 0x12)


@pytest.mark.parametrize(
    ("rate", "baud", "said"),
    [(940, 9600, "raise the baud rate"), (100, 115_200, "send by interrupt"), (None, None, "ring of 1,024 bytes")],
)
def test_events_without_a_dictionary_on_a_line_that_drops(
    rate: float | None, baud: int | None, said: str, study: Study, tmp_path: Path
) -> None:
    log = tmp_path / "a.playlog"
    log.write_bytes(without_dictionary(play(10, each_s=960)))
    size = log.stat().st_size
    if rate is not None:
        lines = [HEAD | {"baud": baud}]
        lines += [{"at": part * size / rate / 10, "byte": part * size // 10} for part in range(11)]
        sidecar_path(log).write_text("\n".join(map(json.dumps, lines)), encoding="utf-8")
    (notice,) = import_log(study, log).notices
    assert notice.about == About.MISSING and "none of it came" in notice.what and "dropped" in notice.what
    assert said in notice.remedy and "CAPTURE.md" in notice.remedy
    # The recorder gives the dictionary room whatever the load: it is missing because the recording began late.
    assert "Reset the console" in notice.remedy and "no room" not in notice.what
    watch = Watch()
    watch.feed(log.read_bytes())
    live = [one for one in watch.notices(baud, rate) if one.about == About.MISSING]
    assert [(one.what, one.remedy) for one in live] == [(notice.what, notice.remedy)]


def test_a_recording_that_began_in_the_middle_is_told_to_reset_the_console(study: Study, tmp_path: Path) -> None:
    """Nothing was dropped: neither ring nor baud rate is at fault."""
    log = tmp_path / "a.playlog"
    log.write_bytes(without_dictionary(play(1, each_s=11_500, seconds=5)))
    result = import_log(study, log)
    (notice,) = result.notices
    assert notice.about == About.MISSING and "Reset the console" in notice.remedy
    assert "baud" not in notice.remedy and "ring" not in notice.remedy
    assert judge(result).words.count("Reset the console") == 1
