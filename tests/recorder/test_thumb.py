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
    "an interrupt that logs, the transmitter's": ("playlog_on_transmitter_empty", "logging_interrupt", False, (1, 0)),
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
    "an interrupt that logs, a call that opens a packet": ("call_at", "logging_interrupt", False, (0,)),
    "an interrupt that logs, a packet of the dictionary": ("playlog_poll", "logging_interrupt", False, (0,)),
    "an interrupt that logs and a fast line, a packet of the dictionary": (
        "playlog_poll",
        "logging_interrupt",
        False,
        (1,),
    ),
    "the transmitter interrupts a packet of the dictionary": (
        "playlog_poll",
        "playlog_on_transmitter_empty",
        True,
        (1, 0),
    ),
}


LATER = (1010, 4000)  # ticks; at the second one a packet of the dictionary is due


def sent_in_the_end(
    made: thumb.Machine, function: str, handler: str, transmitter: bool, in_flight: int, fast_line: bool
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
    arguments = (ARGUMENTS if function.startswith("call_") else made.symbols["play"],)
    set_event(made, LATER[function == "playlog_poll"], (3, 4, 2, 1, 0))
    before = made.snapshot()
    count = made.count_steps(function, *arguments)
    for number in range(count):
        before()
        made.call_interrupted(function, arguments, number, handler, transmitter=transmitter, fast_line=fast_line)
        made.transmit()
        if function == "call_at":
            made.call("call_died", ARGUMENTS)
            made.transmit()
        yield bytes(made.sent)


def waiting(made: thumb.Machine) -> int:
    """Bytes that were published and not yet given to the transmitter."""
    head, tail = struct.unpack("<HH", made.read("play", 72)[44:48])
    return (head - tail) % 1024


def faults(made: thumb.Machine) -> Iterator[str]:
    """Where an interrupt spoils what is sent."""
    for name, (function, handler, transmitter, flights) in SEARCHES.items():
        later = LATER[function == "playlog_poll"]
        expected = [(1000, "at"), (1001, "died")]
        expected += [(later, "at")] * (function == "call_at")
        expected += [(later, "cleared")] * (handler == "logging_interrupt")
        expected += [(later, "died")] * function.startswith("call_")
        about_before = reference.decode(bytes(made.sent)).packets
        for in_flight in flights:
            restore = made.snapshot()
            number = 0
            seen: set[bytes] = set()
            try:
                for number, sent in enumerate(
                    sent_in_the_end(made, function, handler, transmitter, in_flight, "fast line" in name)
                ):
                    if sent in seen:
                        continue
                    seen.add(sent)
                    log = reference.decode(sent)
                    events = sorted((e.tick, e.kind) for e in log.events)
                    if function == "playlog_poll":
                        assert log.packets > about_before + 1, "no packet of the dictionary was sent"
                    if events != expected or log.rejected or log.tail_bytes or log.gaps or log.drops:
                        yield f"{name}, {in_flight} in flight, before instruction {number}: {events}"
                assert number > 20, "the search did not search"
            except (AssertionError, thumb.unicorn.UcError) as error:
                yield f"{name}, {in_flight} in flight, before instruction {number + 1}: {error}"
            restore()


def planted(folder: Path, right: str, wrong: str) -> Path:
    """A copy of the recorder's source with one thing changed."""
    source = PLAYLOG.read_text(encoding="utf-8")
    assert source.count(right) == 1
    copy = folder / "playlog.c"
    copy.write_text(source.replace(right, wrong), encoding="utf-8")
    return copy


def test_an_interrupt_before_any_instruction_spoils_nothing(tmp_path: Path) -> None:
    assert list(faults(machine(tmp_path))) == []


def test_nor_where_events_are_so_long_that_they_are_written_without_the_lock(tmp_path: Path) -> None:
    """With the limit below the six bytes of `died`."""
    copy = planted(tmp_path, "MAX_LOCKED = 12,", "MAX_LOCKED = 4,")
    assert list(faults(machine(tmp_path, copy))) == []


# Right and wrong source text.
RACES = {
    "no lock around the event": (
        "    log->was = log->port->lock();\n    step = log->port->now()",
        "    log->was = 0u;\n    step = log->port->now()",
    ),
    "no lock when the transmitter runs dry": (
        "const uint32_t was = port->lock();\n        byte",
        "const uint32_t was = 0u;\n        byte",
    ),
    "head moves before the frame is whole": (
        "    at->write = (uint16_t)write;\n    at->code = (uint16_t)code;",
        "    at->write = (uint16_t)write;\n    ((struct playlog *)at)->head = at->write;\n"
        "    at->code = (uint16_t)code;",
    ),
    "the transmitter is not primed": (
        "            port->send((uint8_t)byte);\n            port->enable_interrupt(true);",
        "            port->enable_interrupt(true);",
    ),
    "primed even while a byte is on its way": ("port->send != NULL && !log->sending", "port->send != NULL"),
    "the place of a packet is not kept": (
        "    log->open.write = (uint16_t)((place.write + head",
        "    if (0) log->open.write = (uint16_t)((place.write + head",
    ),
    "what is behind a packet goes before it is whole": (
        "    if (log->building == 0u) {\n        PLAYLOG_BARRIER",
        "    if (1) {\n        PLAYLOG_BARRIER",
    ),
}


@pytest.mark.parametrize("race", RACES)
def test_a_planted_race_is_found(race: str, tmp_path: Path) -> None:
    """The same search, on a copy of the recorder's source with one protection taken away."""
    copy = planted(tmp_path, *RACES[race])
    thumb.build(tmp_path, "compiles", [thumb.BENCH / "recorder.c", copy])
    try:
        found = next(faults(machine(tmp_path, copy)), None)
    except AssertionError as error:  # even without an interrupt
        found = str(error)
    assert found
