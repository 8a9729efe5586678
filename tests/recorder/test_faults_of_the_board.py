"""What a board may do wrong: a clock that is too narrow, a transmitter that somebody else has a hand in, no start."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest

from ingest.wire.dictionary_json import from_json
from tests import reference
from tests.recorder.native import RECORDER, SANITIZERS, Script, compiler
from tests.recorder.test_promises import GAME


def played(clock: Callable[[int], int], hz: int, seconds: int = 20) -> reference.Log:
    """Play of so many seconds, with a poll and a position each frame, read from a clock that says what it likes."""
    script = Script(*from_json(dict(GAME, clock=hz)), tick=clock(0))
    for frame in range(1, seconds * 60):
        tick = clock(frame * hz // 60)
        script.event(tick, "at", {"x": frame & 0xFF})
        script.poll(tick)
        script.drain(tick)
    script.flush(tick)
    script.drain(tick)
    return reference.decode(script.run())


@pytest.mark.parametrize(
    ("wraps_at", "hz"),
    [
        (2**16, 1_000),
        (2**16, 100_000),
        (2**16, 1_000_000),
        (2**24, 1_000_000),
        (2**24, 10_000_000),
        (2**8, 1_000),
        (1_000, 1_000),
        (42_949, 1_000),
        (42_949, 100_000),
        (42_949, 1_000_000),
    ],
)
def test_a_clock_that_wraps_early_does_not_freeze_time(wraps_at: int, hz: int) -> None:
    """A timer of 8, 16 or 24 bits, milliseconds that begin again each second, a cycle counter divided down.

    Where it wraps the log says so: the time goes back, and a power-up begins whose nonce is the old one. Between two
    wraps time passes as it should.
    """
    seconds = 20
    log = played(lambda tick: tick % wraps_at, hz, seconds)
    assert not log.rejected and not log.gaps and not log.drops
    # What comes before the very first settings of a power-up may be lost to the reader.
    assert len(log.events) >= seconds * 60 - 3
    wraps = seconds * hz // wraps_at
    assert wraps * 0.9 <= len(log.power_ups) - 1 <= wraps
    ticks = [e.tick for e in log.events]
    assert not any(after == before for before, after in pairwise(ticks))


def test_a_small_step_back_is_no_wrap() -> None:
    """A millisecond too early now and then, as clocks of two registers read: one power-up, and time never goes back."""
    log = played(lambda tick: tick - 1_000 * (tick % 7 == 0), 1_000_000)
    ticks = [e.tick for e in log.events]
    assert len(log.power_ups) == 1 and ticks == sorted(ticks)
    assert ticks[-1] - ticks[0] > 19_900_000


def events_after(script: Script, tick: int, seconds: int = 3) -> int:
    """Logs and polls on, and returns how many events the log then has."""
    for now in range(tick, tick + seconds * 1000, 20):
        script.event(now, "at", {"x": 1})
        script.poll(now)
        script.drain(now, 200)
    script.flush(now)
    script.drain(now)
    return len(reference.decode(script.run()).events)


def test_sending_goes_on_where_somebody_cleared_the_enable_bit() -> None:
    script = Script(*from_json(GAME), interrupts=True)
    for tick in range(0, 1_000, 20):
        script.event(tick, "at", {"x": 1})
        script.poll(tick)
        script.drain(tick, 200)
    script.event(tick, "fell", {})
    script.clear_enable_bit(tick)  # in the middle of a packet
    assert events_after(script, 1_000) == 50 + 1 + 150


def test_sending_begins_where_the_uart_is_set_up_after_the_recorder() -> None:
    """The first byte went nowhere, and setting the UART up turned the interrupt off."""
    script = Script(*from_json(GAME), interrupts=True, uart_late=True)
    for tick in range(0, 100, 20):
        script.poll(tick)
    script.set_uart_up(100)
    assert events_after(script, 100) == 150


NOT_STARTED = """
#include <stdio.h>
#include "playlog.h"
#define LOG_GAME "Moth Run"
#define LOG_FIRMWARE "1.0"
#define LOG_CLOCK_HZ 1000
#define LOG_SCREEN_WIDTH 160
#define LOG_SCREEN_HEIGHT 128
#define LOG_KINDS(KIND) KIND(fell, death)
#define LOG_fell(FIELD, LABEL) FIELD(u8, x, x, px)
#define LOG_TUNABLES(TUNABLE)
PLAYLOG_DECLARE();
PLAYLOG_DEFINE(schema);
static uint32_t now(void) { return 0; }
static uint32_t lock(void) { return 0; }
static void unlock(uint32_t was) { (void)was; }
static const struct playlog_port port = {now, lock, unlock, NULL, NULL};
static struct playlog play;
static uint8_t ring[RING_BYTES];
int main(void)
{
    int calls;
    START
    for (calls = 0; calls < 3; calls++) {
        log_fell(&play, 5);
        playlog_poll(&play);
        playlog_settings_changed(&play);
        playlog_flush(&play);
        playlog_on_transmitter_empty(&play);
        printf("%d ", playlog_next_byte(&play));
    }
    printf("%u", (unsigned)playlog_dropped(&play));
    return 0;
}
"""


def run_c(folder: Path, *defines: str) -> subprocess.CompletedProcess[str]:
    """Compiles NOT_STARTED, and runs it where that went well; else what the compiler said."""
    (folder / "game.c").write_text(NOT_STARTED, encoding="utf-8")
    command = [compiler(), "-std=c99", *SANITIZERS, f"-I{RECORDER}", *(f"-D{define}" for define in defines)]
    made = subprocess.run(
        [*command, str(folder / "game.c"), str(RECORDER / "playlog.c"), "-o", str(folder / "game")],
        capture_output=True,
        text=True,
        check=False,
    )
    return (
        made if made.returncode else subprocess.run([str(folder / "game")], capture_output=True, text=True, check=False)
    )


@pytest.mark.parametrize(
    "start",
    ["(void)ring; (void)port;", "(void)(playlog_init)(&play, &schema, NULL, ring, sizeof ring, &port, 1);"],
    ids=["not at all", "with a ring that is refused"],
)
def test_a_recorder_that_was_not_started_drops_and_counts(start: str, tmp_path: Path) -> None:
    """Instead of calling a port that is not there, which resets the console again and again."""
    done = run_c(tmp_path, "RING_BYTES=1000", f"START={start}")
    assert (done.returncode, done.stdout) == (0, "-1 -1 -1 3"), done.stderr


@pytest.mark.parametrize("ring_bytes", [0x200, 1024, 32768, 1, 256, 511, 513, 1000, 65536])
def test_a_ring_of_a_wrong_size_is_a_compile_error(ring_bytes: int, tmp_path: Path) -> None:
    start = "START=if (!playlog_init(&play, &schema, NULL, ring, sizeof ring, &port, 1)) return 9; break_;"
    done = run_c(tmp_path, f"RING_BYTES={ring_bytes}", start, "break_=return 0")
    if ring_bytes in (512, 1024, 32768):
        assert done.returncode == 0, done.stderr
    else:
        assert done.returncode == 1
        assert "PLAYLOG_RING_HAS_512_TO_32768_BYTES_A_POWER_OF_TWO" in done.stderr
