"""What playlog.h promises, one test a promise; natively, under sanitizers, decoded by the plain reference decoder."""

from __future__ import annotations

import subprocess
from itertools import pairwise
from pathlib import Path

import pytest

from ingest.wire.dictionary import Dictionary
from ingest.wire.dictionary_json import from_json
from tests import reference
from tests.ingest.product import product
from tests.recorder.native import RECORDER, Script, compiler
from tests.reference import packet_in

GAME = {
    "game": "Moth Run",
    "firmware": "1.0",
    "clock": 1000,
    "screen": [160, 128],
    "kinds": [
        {"name": "begin", "role": "run_start", "fields": [{"name": "who", "type": "u8", "role": "player"}]},
        {"name": "at", "role": "position", "fields": [{"name": "x", "type": "u8", "role": "x"}]},
        {"name": "fell", "role": "death"},
        {"name": "over", "role": "run_end"},
        {"name": "done", "role": "stage_end"},
    ],
    "tunables": [{"name": "lives", "role": "start_lives", "value": 3, "min": 1, "max": 9}],
}


def game() -> tuple[Dictionary, list[int]]:
    return from_json(GAME)


def settle(script: Script, tick: int, packets: int = 30) -> None:
    """Polls until the dictionary after power-up is out."""
    for _ in range(packets):
        script.poll(tick)
        script.drain(tick)


def events_of(data: bytes) -> list[tuple[int, str]]:
    return [(e.tick, e.kind) for e in reference.decode(data).events]


@pytest.mark.parametrize("ring_bytes", [512, 1024])
@pytest.mark.parametrize("interrupts", [False, True])
def test_a_full_ring_drops_and_counts(ring_bytes: int, interrupts: bool) -> None:
    """A line that is too slow: what arrives and what is counted as dropped make up what was logged, to the event."""
    script = Script(*game(), ring_bytes=ring_bytes, interrupts=interrupts)
    settle(script, 0)
    logged = []
    for tick in range(1, 20_000, 2):
        script.event(tick, "at", {"x": tick & 0xFF})
        logged.append((tick, "at"))
        script.drain(tick, 2)  # an event takes three
        if tick % 17 == 0:
            script.poll(tick)
    script.drain(tick)
    script.event(tick, "fell", {})
    script.drain(tick)
    log = reference.decode(script.run())
    arrived = [(e.tick, e.kind) for e in log.events]
    dropped = sum(count for _, count in log.drops)
    assert not log.rejected and not log.gaps
    assert set(arrived) <= {*logged, (tick, "fell")}
    assert 1_000 < dropped < 6_000
    assert len(arrived) + dropped == len(logged) + 1


def test_what_was_dropped_last_is_told_with_the_next_packet_of_the_dictionary() -> None:
    """Nothing is logged any more, so that no packet of events could tell it: a console that stays on does."""
    script = Script(*game(), ring_bytes=512)
    settle(script, 0)
    for number in range(1_000):
        script.event(70_000, "at", {"x": number & 0xFF})
    script.drain(70_000)
    told = []
    for seconds in (0, 17):
        for tick in range(70_000, 70_000 + 1000 * seconds, 100):
            script.poll(tick)
            script.drain(tick)
        log = reference.decode(script.run())
        told.append(sum(count for _, count in log.drops))
        assert not log.gaps
    assert told[0] == 0 and told[1] + len(log.events) == 1_000


@pytest.mark.parametrize("before", range(0, 40, 3))
def test_a_packet_is_opened_only_where_the_longest_fits(before: int) -> None:
    """However full the ring is: filled to the last byte while the line stands still, nothing in it is spoilt."""
    dictionary, values = game()
    script = Script(dictionary, values, ring_bytes=512)
    settle(script, 0)
    for tick in range(before):
        script.event(tick, "at", {"x": 1})
    script.event(before, "fell", {})  # closes the packet
    for tick in range(before + 1, 1000):
        script.event(tick if tick < 400 else 400, "at", {"x": 1})
    script.drain(400)
    script.event(1000, "fell", {})
    script.drain(1000)
    log = reference.decode(script.run())
    assert not log.rejected and not log.gaps
    ((_, dropped),) = log.drops
    assert len(log.events) + dropped == 1001


def test_drops_lie_between_the_events_around_them() -> None:
    """The packet that tells of a drop begins after it, and the one before ended before it."""
    script = Script(*game(), ring_bytes=512)
    settle(script, 0)
    for tick in range(400):
        script.event(tick, "at", {})
    script.drain(tick)
    script.event(1000, "fell", {})
    script.drain(1000)
    log = reference.decode(script.run())
    ((_, dropped),) = log.drops
    ticks = [e.tick for e in log.events]
    assert ticks == [*range(400 - dropped), 1000]


def packets(data: bytes) -> list[bytes]:
    return [packet for packet in map(packet_in, data.split(b"\0")) if packet]


def test_headers_of_events_are_short_until_one_is_dropped() -> None:
    script = Script(*game(), ring_bytes=512)
    settle(script, 0)
    for tick in range(0, 600, 3):
        script.event(tick, "at", {})
        script.drain(tick)
    for tick in range(600, 1_000):
        script.event(tick, "at", {})
    script.drain(tick)
    script.event(1_001, "fell", {})
    script.drain(1_001)
    types = [packet[0] for packet in packets(script.run()) if packet[0] in (0x11, 0x14)]
    assert types.count(0x14) > 20 and types == [0x14] * types.count(0x14) + [0x11]
    assert len(reference.decode(script.run()).drops) == 1


def test_a_packet_is_sent_once_it_has_45_bytes() -> None:
    """Without its CRC; whatever the line does meanwhile, so that a bad byte costs only that much."""
    script = Script(*game())
    settle(script, 0)
    for tick in range(10, 400):  # three bytes each
        script.event(tick, "at", {})
        script.drain(tick)
    sizes = [len(packet) - 2 for packet in packets(script.run()) if packet[0] == 0x14]
    assert len(sizes) > 20 and set(sizes) == {6 + 2 + 13 * 3}


@pytest.mark.parametrize(("bytes_", "fits"), [(9, False), (10, True), (58, True), (59, False)])
def test_another_size_of_packets_is_checked_by_the_compiler(tmp_path: Path, bytes_: int, fits: bool) -> None:
    command = [compiler(), "-std=c99", f"-DPLAYLOG_FULL_BYTES={bytes_}", "-c", str(RECORDER / "playlog.c")]
    done = subprocess.run([*command, "-o", str(tmp_path / "playlog.o")], capture_output=True, text=True, check=False)
    assert (done.returncode == 0) == fits
    assert fits or "full_bytes_are_10_to_58" in done.stderr


def test_the_sequence_wraps() -> None:
    """More than 2^16 packets, most of them with its low byte only: no gap is seen where none is."""
    script = Script(*game())
    settle(script, 0)
    for tick in range(1, 70_000):
        script.event(tick, "fell", {})
        script.drain(tick)
        if tick % 17 == 0:
            script.poll(tick)
            script.drain(tick)
    answer = product([script.run()], rows=False)
    assert answer.packets > 70_000 and answer.count == 69_999
    assert not answer.gaps and not answer.rejected and len(answer.power_ups) == 1


def test_a_packet_waits_at_most_half_a_second() -> None:
    """With polls, and with nothing but the next event."""
    for poll in (True, False):
        script = Script(*game())
        settle(script, 0)
        script.event(100, "at", {})
        script.drain(100)
        before = len(script.run())
        tick = 599
        script.poll(tick) if poll else script.event(tick, "at", {})
        script.drain(tick)
        assert len(script.run()) == before
        script.poll(600) if poll else script.event(600, "at", {})
        script.drain(600)
        assert len(script.run()) > before


@pytest.mark.parametrize("kind", ["begin", "fell", "over", "done"])
def test_what_matters_is_sent_at_once(kind: str) -> None:
    script = Script(*game())
    settle(script, 0)
    script.event(10, "at", {})
    script.event(11, kind, {})
    script.drain(11)
    assert events_of(script.run()) == [(10, "at"), (11, kind)]


def test_flush_sends_what_is_open() -> None:
    script = Script(*game())
    settle(script, 0)
    script.event(10, "at", {})
    script.flush(10)
    script.drain(10)
    assert events_of(script.run()) == [(10, "at")]


def test_the_clock_may_wrap() -> None:
    """Ticks of 1 us wrap after 71.6 minutes: steps, packets and polls go on across 2^32."""
    start = 2**32 - 2_000
    script = Script(*game(), tick=start)
    settle(script, start)
    expected = []
    for tick in range(start + 10, start + 4_000, 37):
        script.event(tick, "at", {})
        script.poll(tick)
        script.drain(tick)
        expected.append((tick, "at"))
    script.flush(tick)
    script.drain(tick)
    assert events_of(script.run()) == expected


def test_a_clock_that_steps_back_does_not_take_time_back() -> None:
    """A clock read from two registers may fall back by a little; logged time stands still then."""
    script = Script(*game())
    settle(script, 0)
    for tick in (100, 97, 103, 103, 102, 110):
        script.event(tick, "at", {})
        script.poll(tick)
    script.flush(110)
    script.drain(110)
    log = reference.decode(script.run())
    assert len(log.power_ups) == 1
    # What was added by a step back is not taken off again: the steps forward count from the last reading.
    ticks = [e.tick for e in log.events]
    assert ticks == sorted(ticks) and ticks[0] == 100 and ticks[-1] == 110


def test_a_reset_is_seen_by_its_nonce_even_when_the_clock_goes_on() -> None:
    script = Script(*game(), nonce=7)
    settle(script, 0)
    script.event(5, "begin", {"who": 3})
    script.drain(5)
    script.power_up(1_000, 8)
    settle(script, 1_000)
    script.event(1_005, "begin", {"who": 4})
    script.drain(1_005)
    log = reference.decode(script.run())
    assert [up.nonce for up in log.power_ups] == [7, 8]
    assert [(e.power_up, e.fields) for e in log.events] == [(0, {"who": 3}), (1, {"who": 4})]


def test_a_capture_may_begin_in_the_middle() -> None:
    """Whatever byte it begins at: all events from the first whole packet on are read once a round has passed."""
    dictionary, values = game()
    script = Script(dictionary, values)
    frame = 0
    for frame in range(0, 120_000, 17):
        script.event(frame, "at", {"x": frame & 0xFF})
        script.poll(frame)
        script.drain(frame, 190)
    script.flush(frame)
    script.drain(frame)
    data = script.run()
    whole = events_of(data)
    for begin in range(2_000, 2_140, 7):
        log = reference.decode(data[begin:])
        late = [(e.tick, e.kind) for e in log.events]
        assert late == whole[len(whole) - len(late) :]
        assert len(late) > 0.9 * len(whole)
        assert not log.unread and len(log.rejected) <= 1


def test_the_pace_of_the_dictionary() -> None:
    """A round at once, one at a packet every 2 s, then a packet every 15 s."""
    dictionary, values = game()
    script = Script(dictionary, values)
    for tick in range(0, 330_001, 20):
        script.poll(tick)
        script.drain(tick)
    ticks = [int.from_bytes(packet[5:9], "little") for packet in map(packet_in, script.run().split(b"\0")) if packet]
    a_round = 1 + -(-len(dictionary.text) // 111)
    assert max(ticks[:a_round]) <= 20 * a_round
    steps = [after - before for before, after in pairwise(ticks[a_round - 1 :])]
    assert steps[:a_round] == pytest.approx([2_000] * a_round, abs=20)
    assert steps[a_round:] == pytest.approx([15_000] * len(steps[a_round:]), abs=20)
    assert len(steps) > 20


def test_settings_go_before_the_events_that_follow_the_change() -> None:
    script = Script(*game(), ring_bytes=512)
    settle(script, 0)
    script.event(10, "at", {})
    script.setting(11, 0, 5)
    script.event(12, "at", {})
    script.flush(12)
    script.drain(12)
    log = reference.decode(script.run())
    change = next(offset for offset, values in log.power_ups[0].settings if values == [5])
    assert [e.offset < change for e in log.events] == [True, False]


def test_settings_are_not_overtaken_even_when_the_ring_is_full() -> None:
    """While they wait for room, events are dropped rather than logged under the old values."""
    script = Script(*game(), ring_bytes=512)
    settle(script, 0)
    for tick in range(1, 150):
        script.event(tick, "at", {})
    script.setting(150, 0, 5)
    for tick in range(150, 400):
        script.event(tick, "at", {})
        script.drain(tick, 3)
        if tick % 17 == 0:
            script.poll(tick)
    script.drain(400)
    script.event(401, "fell", {})
    script.drain(401)
    log = reference.decode(script.run())
    change = next(offset for offset, values in log.power_ups[0].settings if values == [5])
    assert all((e.offset < change) == (e.tick < 150) for e in log.events)
    assert len(log.events) + sum(count for _, count in log.drops) == 149 + 250 + 1


def test_more_tunables_than_a_packet_holds() -> None:
    """255 of them are ten packets, more than the smallest ring; they drip out by polling, and nothing is lost."""
    data = dict(GAME, tunables=[{"name": f"t{i}", "value": i - 100} for i in range(255)])
    dictionary, values = from_json(data)
    script = Script(dictionary, values, ring_bytes=512)
    settle(script, 0, 120)
    script.event(10, "fell", {})
    script.drain(10)
    log = reference.decode(script.run())
    assert log.power_ups[0].settings[-1][1] == values
    assert [e.kind for e in log.events] == ["fell"] and not log.drops


def test_a_change_while_the_settings_are_half_sent_begins_them_again() -> None:
    data = dict(GAME, tunables=[{"name": f"t{i}", "value": i, "max": 999} for i in range(255)])
    dictionary, values = from_json(data)
    script = Script(dictionary, values, ring_bytes=512)
    script.setting(5, 0, 999)  # the ring has room for the first few packets only
    settle(script, 5, 120)
    script.event(10, "fell", {})
    script.drain(10)
    log = reference.decode(script.run())
    assert [values_[0] for _, values_ in log.power_ups[0].settings][-1] == 999


def test_what_was_on_the_line_before_does_not_reach_the_first_packet() -> None:
    script = Script(*game())
    settle(script, 0)
    script.event(10, "fell", {})
    script.drain(10)
    log = reference.decode(b"\x07half a boot message" + script.run())
    assert len(log.rejected) == 1 and [e.kind for e in log.events] == ["fell"]


@pytest.mark.parametrize("ring_bytes", [0, 1, 256, 511, 513, 1000, 65536])
def test_a_ring_of_another_size_is_refused(ring_bytes: int) -> None:
    with pytest.raises(AssertionError, match=r"\(3,"):
        Script(*game(), ring_bytes=ring_bytes).run()


def test_the_longest_packets_never_pass_128_bytes() -> None:
    """Sixteen u32 fields are 69 bytes a record; what is sent still decodes, one record a packet."""
    fields = [{"name": f"f{i}", "type": "u32"} for i in range(16)]
    dictionary, values = from_json(dict(GAME, kinds=[{"name": "big", "fields": fields}]))
    script = Script(dictionary, values)
    settle(script, 0)
    for tick in range(0, 70_000 * 20, 70_000):
        script.event(tick, "big", {f"f{i}": tick for i in range(16)})
        script.drain(tick)
    script.flush(tick)
    script.drain(tick)
    data = script.run()
    assert len(reference.decode(data).events) == 20
    assert max(len(frame) for frame in data.split(b"\0")) <= 129
