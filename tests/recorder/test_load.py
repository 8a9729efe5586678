"""Whatever a game logs and the line carries: the dictionary goes out, and all events are accounted for."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from ingest.wire.dictionary_json import from_json
from tests import reference
from tests.recorder.native import Script
from tests.reference import packet_in

GAME = {
    "game": "Moth Run",
    "firmware": "1.0",
    "clock": 1000,
    "screen": [160, 128],
    "kinds": [
        {
            "name": "at",
            "role": "position",
            "fields": [
                {"name": "x", "type": "u16", "role": "x"},
                {"name": "y", "type": "u16", "role": "y"},
                {"name": "a", "type": "u32"},
            ],
        },
        {"name": "fell", "role": "death"},
        # So that the dictionary is as long as that of a whole game.
        *({"name": f"another_kind_{n}", "fields": [{"name": "what_happened", "type": "u8"}]} for n in range(16)),
    ],
    "tunables": [{"name": "lives", "role": "start_lives", "value": 3, "min": 1, "max": 9}],
}
POLLS_PER_S = 60


@dataclass(frozen=True)
class Load:
    """What a stretch of play gave: events offered, the log, and how many bytes the line took."""

    offered: int
    log: reference.Log
    sent: bytes

    @property
    def dropped(self) -> int:
        return sum(count for _, count in self.log.drops)


def load(ring_bytes: int, line: int, events_per_s: int, seconds: int, *, bytes_a_call: int = 0) -> Load:
    """Events come evenly, the main loop polls 60 times a second, the line takes `line` bytes a second.

    Transmission is by interrupt, or, with `bytes_a_call`, by polling: so many bytes at each turn of the main loop.
    """
    dictionary, values = from_json(GAME)
    script = Script(dictionary, values, ring_bytes=ring_bytes, interrupts=not bytes_a_call)
    offered = polled = carried = 0
    for ms in range(1, seconds * 1000 + 1):
        while offered * 1000 < ms * events_per_s:
            script.event(ms, "at", {"x": ms & 0xFF, "y": 5, "a": offered})
            offered += 1
        if not bytes_a_call:
            script.drain(ms, line * ms // 1000 - carried)
            carried = line * ms // 1000
        if polled * 1000 < ms * POLLS_PER_S:
            script.poll(ms)
            polled += 1
            if bytes_a_call:
                script.drain(ms, bytes_a_call)
    script.flush(ms)
    script.drain(ms)
    script.event(ms, "fell", {})  # its packet tells of the last drops
    script.drain(ms)
    sent = script.run()
    return Load(offered + 1, reference.decode(sent), sent)


def check(played: Load, ring_bytes: int, line: int, seconds: int) -> None:
    log = played.log
    assert not log.rejected and not log.gaps and not log.unread and not log.refusals
    assert len(log.events) + played.dropped == played.offered
    # A round of the dictionary takes at most a second and a frame for each of its packets.
    packets = [packet for packet in map(packet_in, played.sent.split(b"\0")) if packet]
    about = [packet for packet in packets if packet[0] in (0x12, 0x13)]
    a_round = 1 + -(-len(from_json(GAME)[0].text) // 111)
    assert int.from_bytes(about[a_round - 1][5:9], "little") <= 1_100 * a_round
    if played.dropped:
        # Then the line was busy all the time, and all but what the dictionary took of it went to events.
        events = sum(len(packet) + 2 for packet in packets if packet[0] in (0x11, 0x14))
        assert len(played.sent) >= 0.95 * line * seconds
        assert events >= len(played.sent) - 135 * (a_round + a_round + seconds // 2)
        assert events >= 0.9 * len(played.sent) - 135 * a_round


@pytest.mark.parametrize("ring_bytes", [512, 1024])
@pytest.mark.parametrize("line", [960, 2_880, 11_520])
@pytest.mark.parametrize("events_per_s", [10, 60, 80, 300, 900, 2_000])
def test_readable_and_dropped_make_up_what_was_logged(ring_bytes: int, line: int, events_per_s: int) -> None:
    """Also at a load that the line just carries, where the ring is full for long without a drop."""
    played = load(ring_bytes, line, events_per_s, 20)
    check(played, ring_bytes, line, 20)
    # Twelve bytes an event with its share of a packet, and the dictionary once in a while.
    assert not played.dropped or events_per_s * 13 > line


@pytest.mark.parametrize(
    ("ring_bytes", "line", "events_per_s", "least"), [(512, 960, 60, 7_000), (1024, 11_520, 1_500, 100_000)]
)
def test_two_minutes_that_once_gave_no_event(ring_bytes: int, line: int, events_per_s: int, least: int) -> None:
    played = load(ring_bytes, line, events_per_s, 120)
    check(played, ring_bytes, line, 120)
    assert len(played.log.events) >= least


def test_a_uart_that_is_served_once_a_frame_still_sends_its_dictionary() -> None:
    """Two bytes a call are 120 a second, whatever the baud: most events are dropped, and told of."""
    played = load(512, 120, 60, 60, bytes_a_call=2)
    log = played.log
    assert len(log.events) + played.dropped == played.offered
    assert log.events and not log.unread and played.dropped > 0.5 * played.offered
