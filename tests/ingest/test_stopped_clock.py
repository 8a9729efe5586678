"""A console whose clock stands still or runs back: it is told, and what nobody timed counts for no time."""

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from analysis.quality import Grade, judge
from analysis.reader import Reader
from analysis.selection import Selection
from ingest.capture.live import Watch
from ingest.study.capture_counts import About, Notice
from ingest.study.store import Study
from ingest.wire.checksum import crc16
from ingest.wire.cobs import stuff
from ingest.wire.encoder import Encoder
from tests.ingest.logs import cut
from tests.ingest.studies import imported, rows
from tests.ingest.test_given_dictionary import GAME
from tests.reference import packet_in

DEMO = Path(__file__).parents[2] / "demo_logs"
RUN_TICKS, RUNS = 10_000, 30


def played(clock: Callable[[int], int] = lambda tick: tick, runs: int = RUNS, reset_after: int = 0) -> bytes:
    """Runs of 10 s with three deaths each, by a console whose recorder clamps what `clock` makes of the true tick."""
    encoder = Encoder(GAME, [])
    out, last = [encoder.power_up()], 0
    for number in range(runs):
        for after, kind in ((1, "begin"), (3000, "fell"), (6000, "fell"), (9000, "fell"), (9500, "over")):
            last = max(last, clock(number * RUN_TICKS + after))
            out.append(encoder.event(last, kind, {"why": 1} if kind == "fell" else {}) + encoder.flush())
        if number + 1 == reset_after:
            out.append(encoder.reset())
            last = 0
    return b"".join(out)


def sixteen_bits(log: bytes) -> bytes:
    """The same packets with times as a 16-bit timer tells them, by a recorder that takes them as they are."""
    out = b""
    for frame in filter(None, log.split(b"\0")):
        packet = bytearray(packet_in(frame)[:-2])
        at = 2 if packet[0] == 0x14 else 5
        packet[at + 2 : at + 4] = b"\0\0"
        out += stuff(bytes(packet) + crc16(bytes(packet)).to_bytes(2, "big")) + b"\0"
    return out


def live(log: bytes, pieces: int = 40) -> tuple[Notice, ...]:
    watch = Watch()
    for piece in cut(log, random.Random(4), pieces):
        watch.feed(piece)
    return watch.notices()


def test_runs_in_which_the_clock_stood_still_are_no_survival_times(study: Study, tmp_path: Path) -> None:
    log = played(lambda tick: min(tick, 0xFFFF))  # it freezes in the seventh run
    result = imported(study, tmp_path / "a.playlog", log)
    assert result.runs == RUNS and result.damaged_runs == 0
    (notice,) = result.notices
    assert notice.about == About.CLOCK and "stood still" in notice.what and "23 runs last 0 s" in notice.what
    assert "32 bits" in notice.remedy
    verdict = judge(result)
    assert verdict.grade == Grade.DOUBTFUL and notice.what in verdict.words
    assert rows(study, "SELECT number FROM runs WHERE valid ORDER BY number") == [(n,) for n in range(1, 7)]
    assert rows(study, "SELECT DISTINCT invalid_reason FROM runs WHERE NOT valid") == [
        ("the console's clock stood still",)
    ]
    lived = Reader(study.connection).ask_chosen("lives", Selection(game="Lantern"), by_stage=False)
    assert (lived["ended_by"] == "death").sum() == 18 and lived["alive_us"].min() >= 500_000


def test_what_the_clock_left_out_people_may_take_in_again(study: Study, tmp_path: Path) -> None:
    imported(study, tmp_path / "a.playlog", played(lambda tick: 5, runs=2))
    assert rows(study, "SELECT count(*) FROM runs WHERE valid") == [(0,)]
    study.connection.execute(
        "INSERT INTO run_notes SELECT capture_key, 2, now()::TIMESTAMP, NULL, true, NULL, NULL FROM captures"
    )
    assert rows(study, "SELECT number FROM runs WHERE valid") == [(2,)]


def test_a_clock_that_runs_back_without_a_reset_is_told(study: Study, tmp_path: Path) -> None:
    log = sixteen_bits(played())
    result = imported(study, tmp_path / "a.playlog", log)
    (notice,) = result.notices
    wraps = (RUNS - 1) * RUN_TICKS // 65536
    assert notice.about == About.CLOCK and f"ran back {wraps} times without a reset" in notice.what
    assert judge(result).grade == Grade.DOUBTFUL
    assert live(log) == (notice,), "live the same words"


def test_a_reset_is_no_fault_of_the_clock(study: Study, tmp_path: Path) -> None:
    log = played(reset_after=3)
    result = imported(study, tmp_path / "a.playlog", log)
    assert result.power_ups == 2 and result.notices == () and live(log) == ()
    assert rows(study, "SELECT bool_and(valid) FROM runs") == [(True,)]


def test_runs_of_no_time_are_told_before_the_clock_has_stood_for_long(study: Study, tmp_path: Path) -> None:
    log = played(lambda tick: 5, runs=2)
    result = imported(study, tmp_path / "a.playlog", log)
    (notice,) = result.notices
    assert "2 runs last 0 s" in notice.what and "stood still" not in notice.what
    assert live(log) == (notice,)


@pytest.mark.parametrize("pieces", [1, 7, 3000])
def test_however_the_log_is_cut_the_clock_stood_where_it_stood(pieces: int) -> None:
    log = played(lambda tick: min(tick, 0xFFFF))
    assert live(log, pieces) == live(log, 1) != ()


@pytest.mark.parametrize("log", sorted(DEMO.glob("*.playlog")), ids=lambda log: log.stem)
def test_nothing_is_said_of_a_sound_console(log: Path) -> None:
    watch = Watch()
    watch.feed(log.read_bytes())
    assert {notice.about for notice in watch.notices()} <= {About.DROPS}
