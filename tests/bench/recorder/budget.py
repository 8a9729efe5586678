"""What logging costs: bytes on the line, instructions, flash, RAM, beside three things a student might write instead.

`python -m tests.bench.recorder.budget` prints the tables of ingest/recorder/COSTS.md. All figures are counts, made
side by side in one run; none depends on the speed of this machine.
"""

from __future__ import annotations

import lzma
import math
import re
import struct
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cbor2

import demo_logs
from ingest.wire.dictionary import Dictionary
from ingest.wire.dictionary_json import from_json
from tests import reference
from tests.bench.recorder import shooter
from tests.recorder import thumb
from tests.recorder.native import Script, field_bytes

LINE_BYTES_PER_S = 11_520  # 115200 baud, 10 bits a byte (8 data bits, no parity, 1 stop bit)
POLL_MS = 17
ARGUMENTS = thumb.RAM + 0xF000
# Seeds and first stages, beside the benchmark's own of seed 1 from stage 2 on.
OTHER_PLAY = [(seed, stage) for seed in (1, 2, 3, 4, 5) for stage in (1, 2, 3) if (seed, stage) != (1, 2)]


@dataclass(frozen=True)
class Bytes:
    """Bytes an event on one stream of events, and how many events a bad byte costs."""

    stream: str
    events: int
    events_per_s: float
    recorder: float
    lost: float
    cbor: float
    fixed: float
    text: float
    xz: float


@dataclass(frozen=True)
class Parts:
    """Where the recorder's bytes an event go: packets' headers, checksums and framing; the dictionary; records.

    `entropy` is what an ideal coder would need for the records that knows how often each kind, step and value of each
    field comes in this very stream, and needs nothing to say so.
    """

    packets: float
    dictionary: float
    tags: float
    steps: float
    fields: float
    entropy: float


@dataclass(frozen=True)
class Work:
    """Mean instructions of a Cortex-M4 at -Os; flash in bytes without what each event kind adds."""

    name: str
    per_event: float
    most: int
    flash: int


@dataclass(frozen=True)
class RecorderWork:
    """What else the recorder does, in instructions."""

    per_poll: float
    most_in_poll: int
    per_sent_byte: float
    start: int
    most_locked: int


def recorded(dictionary: Dictionary, values: list[int], events: Sequence[shooter.Event]) -> bytes:
    """The log that the C recorder makes of events, with a poll each frame and a line that keeps up."""
    script = Script(dictionary, values)
    frame = events[0][0]
    for tick, kind, fields in events:
        while frame <= tick:
            script.poll(frame)
            script.drain(frame)
            frame += POLL_MS * dictionary.clock_hz // 1000
        script.event(tick, kind, fields)
    script.flush(frame)
    script.drain(frame)
    return script.run()


def events_lost(log: bytes) -> float:
    """Events that one bad byte costs, the mean over all bytes of a log.

    A byte of a frame costs the events of its packet; the zero behind it those of the next one too, because the two
    frames become one. tests/recorder/test_wire_faults.py holds this against logs that were really damaged.
    """
    inside = Counter(e.offset for e in reference.decode(log).events)
    frames, _ = reference.frames(log)
    counts = [inside[offset] for offset, _ in frames]
    lost = sum(count * (len(frame) + 1) for count, (_, frame) in zip(counts, frames, strict=True))
    return (lost + sum(counts[1:])) / len(log)


def parts(log: bytes) -> Parts:
    """Where the bytes of an undamaged log of one power-up go."""
    decoded = reference.decode(log)
    dictionary = decoded.power_ups[0].dictionary
    assert dictionary
    count = len(decoded.events)
    framing = about = records = 0
    for _, frame in reference.frames(log)[0]:
        packet = reference.unstuff(frame)
        assert packet
        if packet[0] & 15 in (2, 3):
            about += len(frame) + 1
        else:
            body = len(packet) - reference.header_bytes(packet) - 2
            framing, records = framing + len(frame) + 1 - body, records + body
    widths = {kind.name: kind.width for kind in as_dictionary(dictionary).kinds}
    fields = sum(widths[e.kind] for e in decoded.events)
    columns: dict[object, Counter[object]] = defaultdict(Counter)
    last = decoded.events[0].tick
    for e in decoded.events:
        columns["kind"][e.kind] += 1
        columns["step"][e.tick - last] += 1
        last = e.tick
        for name, value in e.fields.items():
            columns[e.kind, name][value] += 1
    bits = sum(n * math.log2(column.total() / n) for column in columns.values() for n in column.values())
    return Parts(framing / count, about / count, 1.0, (records - fields) / count - 1, fields / count, bits / 8 / count)


def cbor_bytes(dictionary: Dictionary, events: Iterable[shooter.Event]) -> int:
    """Bytes of the events as CBOR arrays [kind, tick, field, ...]."""
    numbers = {kind.name: number for number, kind in enumerate(dictionary.kinds)}
    return sum(len(cbor2.dumps([numbers[kind], tick, *fields.values()])) for tick, kind, fields in events)


def fixed_bytes(dictionary: Dictionary, events: Iterable[shooter.Event]) -> int:
    """Bytes of the events as C structs: u32 tick, u8 kind, the fields, aligned as a C compiler does."""
    sizes = {}
    for kind in dictionary.kinds:
        at, widest = 5, 4
        for f in kind.fields:
            at = -(-at // f.type.width) * f.type.width + f.type.width
            widest = max(widest, f.type.width)
        sizes[kind.name] = -(-at // widest) * widest
    return sum(sizes[kind] for _, kind, _ in events)


def text_bytes(events: Iterable[shooter.Event]) -> int:
    """Bytes of the events as lines "TICK KIND FIELD ..."."""
    return sum(len(" ".join(map(str, (tick, kind, *fields.values())))) + 1 for tick, kind, fields in events)


def xz_bytes(dictionary: Dictionary, events: Sequence[shooter.Event]) -> int:
    """Bytes that `xz -9` makes of the events column by column: kinds, steps, and each field of each kind."""
    kinds = {kind.name: (number, kind) for number, kind in enumerate(dictionary.kinds)}
    columns: dict[object, bytearray] = defaultdict(bytearray)
    last = events[0][0]
    for tick, name, fields in events:
        number, kind = kinds[name]
        columns["kind"].append(number)
        columns["step"] += struct.pack("<H", min(tick - last, 0xFFFF))
        last = tick
        content, at = field_bytes(kind, fields), 0
        for f in kind.fields:
            columns[name, f.name] += content[at : at + f.type.width]
            at += f.type.width
    return sum(len(lzma.compress(bytes(column), preset=9)) for column in columns.values())


def bytes_on_the_line(stream: str, dictionary: Dictionary, values: list[int], events: Sequence[shooter.Event]) -> Bytes:
    count = len(events)
    seconds = (events[-1][0] - events[0][0]) / dictionary.clock_hz
    log = recorded(dictionary, values, events)
    return Bytes(
        stream,
        count,
        count / seconds,
        len(log) / count,
        events_lost(log),
        cbor_bytes(dictionary, events) / count,
        fixed_bytes(dictionary, events) / count,
        text_bytes(events) / count,
        xz_bytes(dictionary, events) / count,
    )


def as_dictionary(read: dict[str, Any]) -> Dictionary:
    """What the plain reader read, as far as writing a log needs it: the tunables' ranges are left out."""

    def said(of: dict[str, Any], *words: str) -> dict[str, Any]:
        return {word: of[word] for word in words if of[word] is not None}

    kinds = [
        said(kind, "name", "role") | {"fields": [said(f, "name", "type", "role", "unit") for f in kind["fields"]]}
        for kind in read["kinds"]
    ]
    tunables = [{"name": tunable["name"], "value": 0} for tunable in read["tunables"]]
    head = said(read, "game", "firmware", "clock", "screen")
    dictionary, _ = from_json(head | {"kinds": kinds, "tunables": tunables})
    return dictionary


def demo_streams() -> list[tuple[str, Dictionary, list[int], list[shooter.Event]]]:
    """The first playtest of each demo game, as it was logged; times from its own power-up."""
    found = []
    for path in sorted(Path(demo_logs.__file__).parent.glob("*_a_table1.playlog")):
        log = reference.decode(path.read_bytes())
        power_up = max(range(len(log.power_ups)), key=lambda n: sum(e.power_up == n for e in log.events))
        up = log.power_ups[power_up]
        assert up.dictionary
        dictionary = as_dictionary(up.dictionary)
        none = {(kind.name, f.name): f.type.none for kind in dictionary.kinds for f in kind.fields}
        events = [
            (e.tick, e.kind, {f: none[e.kind, f] if value is None else value for f, value in e.fields.items()})
            for e in log.events
            if e.power_up == power_up
        ]
        found.append((dictionary.game, dictionary, [0] * len(dictionary.tunables), events))
    return found


def peak_per_second(dictionary: Dictionary, events: Iterable[shooter.Event]) -> int:
    """Most events that were logged in one second of the console's clock."""
    return max(Counter(tick // dictionary.clock_hz for tick, _, _ in events).values())


def line_ceiling(events: Sequence[shooter.Event], ring_bytes: int = 512) -> float:
    """Events a second up to which nothing is dropped at 115200 baud: the stream played faster and faster.

    The events come evenly, so that this is what the line carries and not what the ring absorbs.
    """
    dictionary, values = shooter.dictionary()
    some = events[:6000]

    def drops(rate: float) -> bool:
        script = Script(dictionary, values, ring_bytes=ring_bytes)
        for _ in range(40):
            script.poll(0)
            script.drain(0)
        frame, carried = 0, 0
        for number, (_, kind, fields) in enumerate(some):
            tick = int(number * 1000 / rate)
            while frame < tick:
                frame += 1
                may = LINE_BYTES_PER_S * frame // 1000
                script.drain(frame, may - carried)
                carried = may
                if frame % POLL_MS == 0:
                    script.poll(frame)
            script.event(tick, kind, fields)
        script.drain(tick)
        script.flush(tick)
        script.drain(tick)
        return bool(reference.decode(script.run()).drops)

    low, high = 100.0, 10_000.0
    while high / low > 1.01:
        middle = (low * high) ** 0.5
        low, high = (low, middle) if drops(middle) else (middle, high)
    return low


def work(folder: Path, events: Sequence[shooter.Event]) -> tuple[list[Work], RecorderWork]:
    """Executes the Thumb builds on the events."""
    recorder, more = _recorder_work(folder, events)
    rest = [
        _other_work(folder, name, define, events)
        for name, define in (
            ("CBOR arrays", "OTHER_CBOR"),
            ("fixed structs", "OTHER_FIXED"),
            ("`snprintf` text", "OTHER_TEXT"),
        )
    ]
    return [recorder, *rest], more


def _call(machine: thumb.Machine, tick: int, kind: str, fields: dict[str, int]) -> int:
    machine.write("board_now", struct.pack("<I", tick))
    machine.cpu.mem_write(ARGUMENTS, struct.pack(f"<{len(fields)}I", *(v & 0xFFFFFFFF for v in fields.values())))
    machine.instructions = 0
    machine.call(f"call_{kind}", ARGUMENTS)
    return machine.instructions


def _recorder_work(folder: Path, events: Sequence[shooter.Event]) -> tuple[Work, RecorderWork]:
    elf = thumb.build(folder, "recorder", [thumb.BENCH / "recorder.c", thumb.RECORDER / "playlog.c"])
    machine = thumb.Machine(elf)
    machine.count_instructions()
    machine.write("board_now", struct.pack("<I", events[0][0]))
    machine.call("power_up", 1, 7)
    start = machine.instructions
    logging, polling = [], []
    sending = 0
    frame = events[0][0]

    def transmit() -> int:
        machine.instructions = 0
        machine.transmit()
        return machine.instructions

    for tick, kind, fields in events:
        while frame <= tick:
            machine.write("board_now", struct.pack("<I", frame))
            machine.instructions = 0
            machine.call("playlog_poll", machine.symbols["play"])
            polling.append(machine.instructions)
            sending += transmit()
            frame += POLL_MS
        logging.append(_call(machine, tick, kind, fields))
        sending += transmit()
    mean = sum(logging) / len(logging)
    return (
        Work("**Playlog**", mean, max(logging), thumb.section_bytes(_object(folder))["text"]),
        RecorderWork(
            sum(polling) / len(polling), max(polling), sending / len(machine.sent), start, machine.most_locked
        ),
    )


def _object(folder: Path) -> Path:
    """playlog.c alone, compiled as the gate wants it."""
    made = folder / "playlog.o"
    thumb.tool("gcc", *thumb.FLAGS, "-c", thumb.RECORDER / "playlog.c", "-o", made)
    return made


def recorder_size(folder: Path) -> tuple[dict[str, int], int]:
    """Flash and static RAM of playlog.c, and the bytes of one struct playlog."""
    elf = thumb.build(folder, "size", [thumb.BENCH / "recorder.c", thumb.RECORDER / "playlog.c"])
    found = re.search(r"^\w+ (\w+) \w play$", thumb.tool("nm", "-S", elf), re.MULTILINE)
    assert found
    return thumb.section_bytes(_object(folder)), int(found.group(1), 16)


def _other_work(folder: Path, name: str, define: str, events: Sequence[shooter.Event]) -> Work:
    elf = thumb.build(folder, define, [thumb.BENCH / "others.c"], [define])
    machine = thumb.Machine(elf)
    machine.count_instructions()
    counts = []
    for tick, kind, fields in events:
        counts.append(_call(machine, tick, kind, fields))
        # The line takes everything: the ring is emptied by hand.
        machine.write("tail", machine.read("head", 2))
    kinds = sum(int(size, 16) for size in re.findall(r"^\w+ (\w+) T call_\w+$", thumb.tool("nm", "-S", elf), re.M))
    return Work(name, sum(counts) / len(counts), max(counts), thumb.section_bytes(elf)["text"] - kinds)


def main() -> None:
    dictionary, values = shooter.dictionary()
    busy = shooter.stream(10, seed=1, first_stage=2)
    rows = [bytes_on_the_line("busy shooter (benchmark)", dictionary, values, busy)]
    demos = demo_streams()
    rows += [bytes_on_the_line(game, d, v, events) for game, d, v, events in demos]
    print("| stream | events | events/s | Playlog | CBOR arrays | fixed structs | text | ", end="")
    print("`xz -9` of the columns | of CBOR | of xz | events lost for a bad byte |")
    print("|---|---|---|---|---|---|---|---|---|---|---|")
    for r in rows:
        print(
            f"| {r.stream} | {r.events:,} | {r.events_per_s:.1f} | {r.recorder:.2f} | {r.cbor:.2f} | {r.fixed:.2f} "
            f"| {r.text:.2f} | {r.xz:.2f} | {r.recorder / r.cbor:.2f}x | {r.recorder / r.xz:.2f}x "
            f"| {r.lost:.1f} |"
        )
    p = parts(recorded(dictionary, values, busy))
    print(
        f"\nbusy shooter: packets {p.packets:.2f}, dictionary {p.dictionary:.2f}, tags {p.tags:.2f}, "
        f"steps {p.steps:.2f}, fields {p.fields:.2f}; "
        f"an ideal coder of kinds, steps and fields would need {p.entropy:.2f}"
    )
    print("\n| other play of the busy shooter | events/s | of CBOR | events lost for a bad byte |")
    print("|---|---|---|---|")
    for seed, stage in OTHER_PLAY:
        events = shooter.stream(10, seed, stage)
        log = recorded(dictionary, values, events)
        ratio = len(log) / cbor_bytes(dictionary, events)
        print(f"| seed {seed}, from stage {stage} | {len(events) / 600:.1f} | {ratio:.3f} | {events_lost(log):.1f} |")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        table, more = work(folder, busy[:6000])
        size, struct_bytes = recorder_size(folder)
    print("\n| encoder | instructions an event, mean | most | flash |")
    print("|---|---|---|---|")
    for w in table:
        print(f"| {w.name} | {w.per_event:.0f} | {w.most:,} | {w.flash:,} |")
    print(f"\nflash {size['text']}, static RAM {size['data'] + size['bss']}, struct playlog {struct_bytes}")
    print(
        f"poll {more.per_poll:.0f} mean, {more.most_in_poll:,} most; "
        f"{more.per_sent_byte:.0f} a byte sent by interrupt; start {more.start:,}; "
        f"interrupts locked for at most {more.most_locked:,}"
    )
    ceiling = line_ceiling(busy)
    print(f"\nline ceiling {ceiling:,.0f} events/s at 115200 baud")
    for game, d, _, events in demos:
        peak = peak_per_second(d, events)
        print(f"{game}: peak {peak} events in a second, {peak / ceiling:.1%} of the ceiling")


if __name__ == "__main__":
    main()
