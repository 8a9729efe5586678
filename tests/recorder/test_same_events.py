"""The C recorder and the Python encoder say the same: same events, same times, whatever the game logs.

The decoder is the plain one of tests/reference.py; the C code runs under sanitizers.
"""

from __future__ import annotations

import random

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.vocabulary import EventRole, FieldType
from ingest.wire.dictionary import Dictionary, Field, Kind, Tunable
from ingest.wire.encoder import Encoder
from tests import reference
from tests.bench.recorder import shooter
from tests.recorder.native import Script

Logged = tuple[int, int, str, dict[str, int]]  # power-up, tick, kind, fields


def decoded(data: bytes) -> list[Logged]:
    log = reference.decode(data)
    assert not log.rejected and not log.unread and not log.tail_bytes and not log.gaps and not log.refusals
    return [(e.power_up, e.tick, e.kind, e.fields) for e in log.events]


def random_dictionary(dice: random.Random) -> tuple[Dictionary, list[int]]:
    """Any dictionary FORMAT.md allows, with few and with many kinds, fields and tunables."""
    kinds = []
    for number in range(dice.choice((1, 2, 5, 63))):
        fields = [Field(f"f{i}", dice.choice(list(FieldType))) for i in range(dice.choice((0, 1, 2, 16)))]
        kinds.append(Kind(f"k{number}", dice.choice([None, None, *EventRole]), tuple(fields)))
    values = [dice.choice((0, 1, -1, -(2**31), 2**31 - 1, 256)) for _ in range(dice.choice((0, 1, 27, 28, 60)))]
    tunables = [Tunable(f"t{i}", None, -(2**31), 2**31 - 1, 1) for i in range(len(values))]
    clock = dice.choice((100, 1000, 1_000_000))
    return Dictionary("Any", "0", clock, (160, 128), tuple(kinds), tuple(tunables)), values


def random_events(dice: random.Random, dictionary: Dictionary, count: int, tick: int) -> list[shooter.Event]:
    """Steps and values from the edges of every width."""
    steps = (0, 0, 1, 16, 17, 255, 256, 3000, 65535, 65536, 10 * dictionary.clock_hz)
    events = []
    for _ in range(count):
        tick += dice.choice(steps)
        kind = dice.choice(dictionary.kinds)
        fields = {}
        for f in kind.fields:
            low, high = f.type.limits
            fields[f.name] = dice.choice((0, 0, low, high, 1, dice.randint(low, high)))
        events.append((tick, kind.name, fields))
    return events


def told(kind: Kind, fields: dict[str, int]) -> dict[str, int | None]:
    """What a reader makes of these values: one of each type is none."""
    none = {"u8": 255, "u16": 65535, "u32": 2**32 - 1, "i8": -128, "i16": -(2**15), "i32": -(2**31)}
    return {f.name: None if fields[f.name] == none[f.type] else fields[f.name] for f in kind.fields}


@settings(max_examples=30, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 2**32 - 1), st.booleans(), st.sampled_from((512, 1024, 32768)))
def test_c_and_python_log_the_same_events(seed: int, interrupts: bool, ring_bytes: int) -> None:
    """Two power-ups, settings that change, polls now and then; the second may begin close before the clock wraps."""
    dice = random.Random(seed)
    dictionary, values = random_dictionary(dice)
    starts = (0, dice.choice((0, 2**32 - 5000)))
    script = Script(dictionary, values, ring_bytes=ring_bytes, interrupts=interrupts, nonce=5, tick=starts[0])
    encoder = Encoder(dictionary, values, nonce=5)
    sent, logged = encoder.power_up(), []
    for number, start in enumerate(starts):
        if number:
            script.power_up(start, 6)
            sent += encoder.reset(6)
        for tick, kind, fields in random_events(dice, dictionary, 80, start):
            script.drain(tick)
            if dice.random() < 0.5:
                script.poll(tick)
                script.drain(tick)
            if values and dice.random() < 0.05:
                which, value = dice.randrange(len(values)), dice.randint(-1000, 1000)
                script.setting(tick, which, value)
                script.drain(tick)
                sent += encoder.settings({f"t{which}": value})
            script.event(tick, kind, fields)
            sent += encoder.event(tick, kind, fields)
            logged.append((number, tick, kind, told(dictionary.kind(kind), fields)))
        script.flush(tick)
        sent += encoder.flush()
        # The dictionary of a short power-up must still get out.
        for _ in range(160):
            script.poll(tick)
            script.drain(tick)
    assert decoded(script.run()) == logged
    assert decoded(sent) == logged


def test_a_whole_playtest_by_interrupt_and_by_polling() -> None:
    """Three minutes of a shooter with a poll each frame: nothing dropped, same events, same settings."""
    dictionary, values = shooter.dictionary()
    events = shooter.stream(3, seed=3)
    expected = [(0, *event) for event in events]
    for interrupts in (False, True):
        script = Script(dictionary, values, ring_bytes=512, interrupts=interrupts)
        frame = 0
        for tick, kind, fields in events:
            while frame <= tick:
                script.poll(frame)
                script.drain(frame, 190)  # what 115200 baud carries in a frame
                frame += 17
            script.event(tick, kind, fields)
        script.flush(frame)
        script.drain(frame)
        data = script.run()
        assert decoded(data) == expected
        (power_up,) = reference.decode(data).power_ups
        assert {tuple(values_) for _, values_ in power_up.settings} == {tuple(values)}
