"""The Thumb build, executed, with an interrupt before every instruction."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests import reference
from tests.recorder import thumb

pytestmark = pytest.mark.board

PLAYLOG = thumb.RECORDER / "playlog.c"
ARGUMENTS = thumb.RAM + 0xF000


def machine(folder: Path, source: Path = PLAYLOG) -> thumb.Machine:
    thumb.need_thumb()
    made = thumb.Machine(thumb.build(folder, "recorder", [thumb.BENCH / "recorder.c", source]))
    made.write("board_now", struct.pack("<I", 0))
    assert made.call("power_up", 1, 7)
    made.transmit()
    for _ in range(20):  # the dictionary
        made.call("playlog_poll", made.symbols["play"])
        made.transmit()
    return made


def set_event(made: thumb.Machine, tick: int, fields: tuple[int, ...]) -> None:
    made.write("board_now", struct.pack("<I", tick))
    made.cpu.mem_write(ARGUMENTS, struct.pack(f"<{len(fields)}I", *fields))


# What runs, what interrupts it, whether that is the transmitter's interrupt, and how many bytes are on their way.
SEARCHES = {
    "an interrupt that logs, the transmitter's": (
        "playlog_on_transmitter_empty",
        "logging_interrupt",
        False,
        (1, 0),
    ),
    "the transmitter interrupts a call that leaves its packet open": (
        "call_at",
        "playlog_on_transmitter_empty",
        True,
        (1, 0),
    ),
    "the transmitter interrupts a call that closes its packet": (
        "call_died",
        "playlog_on_transmitter_empty",
        True,
        (1, 0),
    ),
    "an interrupt that logs, a log call": ("call_died", "logging_interrupt", False, (0,)),
}


def sent_in_the_end(
    made: thumb.Machine, function: str, handler: str, transmitter: bool, in_flight: int
) -> Iterator[bytes]:
    """One call with the interrupt before its first, second, ... last instruction: all that was sent in the end.

    Before the call `in_flight` bytes of an earlier packet have not been given to the transmitter yet, so that its
    interrupt finds more bytes, the last one or none. After it the line goes on for as long as the recorder keeps the
    interrupt on: what is stuck is not sent.
    """
    set_event(made, 1000, (10, 20))
    made.call("call_at", ARGUMENTS)
    set_event(made, 1001, (1, 2, 1, 2, 300))
    made.call("call_died", ARGUMENTS)  # sent at once: the transmitter is busy with this packet
    while waiting(made) > in_flight:
        made.transmitter_full = False
        made.call("playlog_on_transmitter_empty", made.symbols["play"])
    if function == "playlog_on_transmitter_empty":
        made.transmitter_full = False
        arguments = (made.symbols["play"],)
    else:
        arguments = (ARGUMENTS,)
    set_event(made, 1010, (3, 4, 2, 1, 0))
    before = made.snapshot()
    count = made.count_steps(function, *arguments)
    for number in range(count):
        before()
        made.call_interrupted(function, arguments, number, handler, transmitter=transmitter)
        made.transmit()
        if function == "call_at":
            made.call("call_died", ARGUMENTS)
            made.transmit()
        yield bytes(made.sent)


def waiting(made: thumb.Machine) -> int:
    """Bytes that were published and not yet given to the transmitter."""
    head, tail = struct.unpack("<HH", made.read("play", 64)[32:36])
    return (head - tail) % 1024


def faults(made: thumb.Machine) -> Iterator[str]:
    """Where an interrupt spoils what is sent."""
    for name, (function, handler, transmitter, flights) in SEARCHES.items():
        expected = [(1000, "at"), (1001, "died")]
        expected += [(1010, "at")] * (function == "call_at")
        expected += [(1010, "cleared")] * (handler == "logging_interrupt")
        expected += [(1010, "died")] * (function != "playlog_on_transmitter_empty")
        for in_flight in flights:
            restore = made.snapshot()
            number = 0
            seen: set[bytes] = set()
            try:
                for number, sent in enumerate(
                    sent_in_the_end(made, function, handler, transmitter, in_flight)
                ):
                    if sent in seen:
                        continue
                    seen.add(sent)
                    log = reference.decode(sent)
                    events = sorted((e.tick, e.kind) for e in log.events)
                    if events != expected or log.rejected or log.tail_bytes or log.gaps or log.drops:
                        yield f"{name}, {in_flight} in flight, before instruction {number}: {events}"
                assert number > 20, "the search did not search"
            except (AssertionError, thumb.unicorn.UcError) as error:
                yield f"{name}, {in_flight} in flight, before instruction {number + 1}: {error}"
            restore()


def test_an_interrupt_before_any_instruction_spoils_nothing(tmp_path: Path) -> None:
    assert list(faults(machine(tmp_path))) == []


# Right and wrong source text.
RACES = {
    "no lock around the event": (
        "const uint32_t was = log->port->lock();\n    uint32_t step",
        "const uint32_t was = 0u;\n    uint32_t step",
    ),
    "no lock when the transmitter runs dry": (
        "const uint32_t was = port->lock();\n        byte",
        "const uint32_t was = 0u;\n        byte",
    ),
    "head moves before the frame is whole": (
        "    log->write = (uint16_t)write;\n    log->code",
        "    log->write = (uint16_t)write;\n    log->head = log->write;\n    log->code",
    ),
    "the transmitter is not primed": (
        "        port->send((uint8_t)playlog_next_byte(log));\n    }\n}\n\n/* Opens",
        "    }\n}\n\n/* Opens",
    ),
    "primed even while a byte is on its way": (
        "port->send != NULL && !log->sending",
        "port->send != NULL",
    ),
}


@pytest.mark.parametrize("race", RACES)
def test_a_planted_race_is_found(race: str, tmp_path: Path) -> None:
    """The same search, on a copy of the recorder's source with one protection taken away."""
    right, wrong = RACES[race]
    source = PLAYLOG.read_text(encoding="utf-8")
    assert source.count(right) == 1
    planted = tmp_path / "playlog.c"
    planted.write_text(source.replace(right, wrong), encoding="utf-8")
    assert next(faults(machine(tmp_path, planted)), None)
