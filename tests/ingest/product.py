"""The product's decoder, brought into the form of the reference decoder's answer, so that the two can be compared."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from ingest.wire.dictionary import Dictionary
from ingest.wire.framing import Damage, Framer
from ingest.wire.power_up import Span
from ingest.wire.records import Batch, RecordReader
from ingest.wire.session import Session


@dataclass
class Answer:
    """What a decoder makes of a log; equal answers compare equal."""

    events: list[tuple[int, int, int, str, tuple[tuple[str, int | None], ...]]] = field(default_factory=list)
    count: int = 0
    rejected: list[tuple[int, str]] = field(default_factory=list)
    gaps: list[tuple[int, int]] = field(default_factory=list)
    drops: list[tuple[int, int]] = field(default_factory=list)
    unread_bytes: int = 0
    newer: list[int] = field(default_factory=list)
    tail_bytes: int = 0
    packets: int = 0
    power_ups: list[tuple[int, int, int, int | None]] = field(default_factory=list)
    refused: bool = False


def product(chunks: Iterable[bytes], rows: bool = True) -> Answer:
    """The answer of the product to a log that comes in these chunks; without `rows` the events are only counted.

    As an import does, it reads again what could not be read because its dictionary came too late.
    """
    chunks = list(chunks)
    answer, session = _one_reading(chunks, rows, {})
    late = session.late_dictionaries()
    return _one_reading(chunks, rows, late)[0] if late else answer


def _one_reading(chunks: Iterable[bytes], rows: bool, known: dict[int, Dictionary]) -> tuple[Answer, Session]:
    answer = Answer()
    framer, session = Framer(), Session(known=known)
    harm, ended = [], []
    readers: dict[int, tuple[Dictionary, RecordReader]] = {}
    for chunk in chunks:
        packets = framer.feed(chunk)
        answer.packets += len(packets.start)
        for offset, reason in zip(packets.bad_offset.tolist(), packets.bad_reason, strict=True):
            if reason == Damage.VERSION:
                answer.newer.append(offset)
            else:
                answer.rejected.append((offset, reason.value))
        spans, more, over = session.feed(packets)
        harm += more
        ended += over
        for span in spans:
            if id(span.dictionary) not in readers:
                # The dictionary is kept beside its reader, so that no other object can take its identity.
                readers[id(span.dictionary)] = span.dictionary, RecordReader(span.dictionary)
            reader = readers[id(span.dictionary)][1]
            batch = reader.read(span.data, span.start, span.length, span.tick, span.offset)
            answer.rejected += [(int(span.offset[i]), "body") for i in batch.bad.tolist()]
            answer.count += len(batch.tick)
            if rows:
                answer.events += _rows(span, batch)
    more, over = session.end()
    for one in harm + more:
        if one.reason == Damage.GAP:
            answer.gaps.append((one.offset, one.count))
        elif one.reason == Damage.DROPPED:
            answer.drops.append((one.offset, one.count))
        elif one.reason != Damage.UNREAD:
            answer.rejected.append((one.offset, one.reason.value))
    answer.rejected.sort()
    answer.unread_bytes = session.unread_bytes
    answer.tail_bytes = framer.tail_bytes
    answer.power_ups = [(up.offset, up.first_tick, up.last_tick, up.nonce) for up in ended + over]
    answer.refused = session.dictionaries.refusal is not None
    return answer, session


def _rows(span: Span, batch: Batch) -> list[tuple[int, int, int, str, tuple[tuple[str, int | None], ...]]]:
    rows = {}
    for events in batch.by_kind:
        kind = span.dictionary.kinds[events.kind].name
        offset = batch.offset(events.order).tolist()
        for i, order in enumerate(events.order.tolist()):
            values = tuple((name, column[i : i + 1].tolist()[0]) for name, column in events.fields.items())
            rows[order] = (span.power_up.number, offset[i], int(batch.tick[order]), kind, values)
    return [rows[order] for order in sorted(rows)]


def plainly(data: bytes) -> Answer:
    """The answer of the reference decoder."""
    from tests.reference import decode

    log = decode(data)
    return Answer(
        [(e.power_up, e.offset, e.tick, e.kind, tuple(e.fields.items())) for e in log.events],
        len(log.events),
        log.rejected,
        log.gaps,
        log.drops,
        sum(size for _, size in log.unread),
        log.newer,
        log.tail_bytes,
        log.packets,
        [(up.offset, up.first_tick, up.last_tick, up.nonce) for up in log.power_ups],
        bool(log.refusals),
    )
