"""What a log that is still coming in holds so far: packets, runs, damage, drops."""

import math
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ingest.assembling.whose import Came, Unseen
from ingest.capture.first_bytes import FirstBytes
from ingest.capture.line_notices import Line, dropped, no_dictionary
from ingest.capture.stopped_clock import StoppedClock
from ingest.study.capture_counts import Notice
from ingest.study.notices import clock, refused_whole, too_many_resets
from ingest.vocabulary import EventRole, FieldRole
from ingest.wire.dictionary import Dictionary
from ingest.wire.framing import Damage, Framer
from ingest.wire.power_up import Harm, Span
from ingest.wire.records import Batch, RecordReader, microseconds
from ingest.wire.session import Session

# More runs than a day of play; a hostile log could claim one a byte.
MOST_RUNS = 10_000
# So many pieces of damage are kept with their places.
MOST_HARM = 1_000


@dataclass
class Counts:
    """Totals since the recording began. `rejected` counts frames and packets that could not be used."""

    packets: int = 0
    events: int = 0
    runs: int = 0
    deaths: int = 0
    power_ups: int = 0
    rejected: int = 0
    missing_packets: int = 0
    dropped_events: int = 0
    in_run: bool = False
    game: str | None = None
    refusal: str | None = None  # why the dictionary was refused as a whole
    unread_from: int | None = None  # the byte from which on nothing is read: too many power-ups


class Watch:
    """Reads a log as it comes, in chunks of any size, by the same code as the ingest; keeps no event.

    `offset`: where in the log it begins to read. Behind the beginning, the line's rate was sought before: then nothing
    is called damage up to the first packet.
    """

    def __init__(self, offset: int = 0) -> None:
        self._framer = Framer(offset)
        self._sought = offset > 0
        self._session = Session()
        self._readers: dict[int, tuple[Dictionary, RecordReader]] = {}
        self._counts = Counts()
        self._first = FirstBytes()
        self._stopped = StoppedClock()
        self._timeless_runs = 0  # that were over at the very tick of their start
        self._began_us: int | None = None  # the run in progress
        # Where each run begins (the first MOST_RUNS): the offset of its first packet's frame, ascending.
        self.start_bytes: list[int] = []
        # The player each run names by itself; 0: none.
        self.logged_players: list[int] = []
        self._harm_at: list[int] = []  # byte offsets, ascending
        self._gaps: list[tuple[int, int, float | None]] = []  # byte offset, lost packets or events, us
        self._ended_us: int | None = None  # the last run of this power-up
        self._ended_byte = -1
        self._shortest_us = math.inf

    @property
    def counts(self) -> Counts:
        """The totals so far, as a copy."""
        return replace(self._counts)

    @property
    def first_bytes(self) -> FirstBytes:
        """What came before the first packet."""
        return self._first

    @property
    def waits_for_dictionary(self) -> bool:
        """Whether events wait for a dictionary that has not come yet."""
        return self._session.dictionary_missing is not None

    @property
    def harms(self) -> int:
        """How many pieces of damage are known by their places."""
        return len(self._harm_at)

    def came(self, seconds: Sequence[float | None]) -> list[Came]:
        """The runs so far, as `whose` asks for them; `seconds`: when each came."""
        ends = [*self.start_bytes[1:], math.inf][: len(self.start_bytes)]
        return [
            Came(start, at, damaged=bisect_left(self._harm_at, start + 1) < bisect_left(self._harm_at, end))
            for start, end, at in zip(self.start_bytes, ends, seconds, strict=True)
        ]

    def unseen(self) -> list[Unseen]:
        """Where whole runs may be lost, judged as the study does (said_of_runs.py), by the runs so far."""
        least = 0 if self._shortest_us == math.inf else self._shortest_us / 2
        return [Unseen(byte, n // 2) for byte, n, us in self._gaps if n > 1 and (us is None or us >= least)]

    def notices(
        self, baud: int | None = None, bytes_per_s: float | None = None, waited_s: float | None = None
    ) -> tuple[Notice, ...]:
        """What people at the table are to be told now, the gravest first.

        `baud` is that of the line, `bytes_per_s` what comes over it just now; None: there is no such thing.
        `waited_s`: how long the line has been read; None: it is not read now.
        """
        session = self._session
        refusal = session.dictionaries.refusal
        first = self._first.notice(baud, waited_s)
        return (
            *([first] if first is not None else []),
            *([too_many_resets(session.stopped_at)] if session.stopped_at is not None else []),
            *self._of_the_line(baud, bytes_per_s),
            *clock(self._stopped.stops, session.ran_back, session.ran_back_at, self._timeless_runs),
            *([refused_whole(refusal)] if refusal is not None else []),
            *session.dictionaries.notices,
        )

    def _of_the_line(self, baud: int | None, bytes_per_s: float | None) -> Iterator[Notice]:
        session, counts = self._session, self._counts
        missing = session.dictionary_missing
        if missing is not None:
            # Without a dictionary the console's seconds are not known either.
            yield no_dictionary(0, *missing, counts.dropped_events, Line(baud, bytes_per_s or None))
        elif counts.dropped_events and counts.events:
            yield dropped(0, counts.dropped_events, counts.events, Line(baud, session.full_bytes_per_s))

    def feed(self, chunk: bytes) -> None:
        """Takes the next bytes."""
        counts = self._counts
        packets = self._framer.feed(chunk)
        heard_before = self._sought and not self._first.understood
        self._first.take(chunk, packets)
        counts.packets += len(packets.start)
        counts.rejected += len(packets.bad_offset)
        if heard_before and self._first.packet_at is not None:
            counts.rejected = int(np.count_nonzero(packets.bad_offset > self._first.packet_at))
        spans, harm, _ = self._session.feed(packets)
        if counts.power_ups != self._session.power_ups:
            counts.power_ups = self._session.power_ups
            counts.in_run, self._began_us, self._ended_us = False, None, None
        counts.refusal = self._session.dictionaries.refusal
        counts.unread_from = self._session.stopped_at
        if counts.unread_from is not None:
            counts.in_run = False  # whether one goes on cannot be told any more
        self._harm(harm)
        self._places(harm, spans)
        for span in spans:
            self._stopped.take(span)
            counts.game = span.dictionary.game
            reader = self._reader(span.dictionary)
            self._events(span.dictionary, reader.read(span.data, span.start, span.length, span.tick, span.offset))

    def _reader(self, dictionary: Dictionary) -> RecordReader:
        # The dictionary is kept beside its reader, so that no other object can take its identity.
        known = self._readers.get(id(dictionary))
        if known is None:
            known = self._readers[id(dictionary)] = dictionary, RecordReader(dictionary)
        return known[1]

    def _events(self, dictionary: Dictionary, batch: Batch) -> None:
        counts = self._counts
        counts.events += len(batch.tick)
        counts.rejected += len(batch.bad)
        begun: list[tuple[int, int, int]] = []  # order, place, player
        turns: list[tuple[int, bool, int, int]] = []  # order, whether a run starts and does not end, when, place
        newest = {EventRole.RUN_START: -1, EventRole.RUN_END: -1}
        for events in batch.by_kind:
            kind = dictionary.kinds[events.kind]
            role, who = kind.role, kind.field(FieldRole.PLAYER)
            if role == EventRole.RUN_START:
                players = np.ma.filled(events.fields[who.name], 0).tolist() if who else [0] * len(events.order)
                begun += zip(events.order.tolist(), batch.offset(events.order).tolist(), players, strict=True)
            if role == EventRole.DEATH:
                counts.deaths += len(events.order)
            if role in newest:
                starts = [role == EventRole.RUN_START] * len(events.order)
                places = batch.offset(events.order).tolist()
                turns += zip(events.order.tolist(), starts, events.at_us.tolist(), places, strict=True)
                newest[role] = max(newest[role], int(events.order[-1]))
        for order, starts_one, at_us, place in sorted(turns):
            self._timeless_runs += not starts_one and self._began_us == at_us
            if not starts_one and self._began_us is None and self._lost_since(place):
                begun.append((order, place, 0))  # its start was lost; live, its end is the first that is known of it
            self._turn(starts_one, at_us, place)
        counts.runs += len(begun)
        for _, place, player in sorted(begun)[: MOST_RUNS - len(self.start_bytes)]:
            self.start_bytes.append(place)
            self.logged_players.append(player)
        if max(newest.values()) >= 0:
            counts.in_run = newest[EventRole.RUN_START] > newest[EventRole.RUN_END]

    def _turn(self, starts_one: bool, at_us: int, place: int) -> None:
        before = self._ended_us if starts_one else self._began_us
        if before is not None and at_us > before:
            self._shortest_us = min(self._shortest_us, at_us - before)
        self._began_us = at_us if starts_one else None
        if not starts_one:
            self._ended_us, self._ended_byte = at_us, place

    def _lost_since(self, place: int) -> bool:
        """Whether something was lost between the last run's end and this place."""
        return bisect_left(self._harm_at, self._ended_byte + 1) < bisect_left(self._harm_at, place + 1)

    def _places(self, harm: list[Harm], spans: Sequence[Span]) -> None:
        for one in harm[: MOST_HARM - len(self._harm_at)]:
            self._harm_at.append(one.offset)
            if one.reason in (Damage.GAP, Damage.DROPPED, Damage.UNREAD):
                clock_hz = spans[0].dictionary.clock_hz if spans else None
                us = microseconds(one.ticks, clock_hz) if one.ticks is not None and clock_hz else None
                self._gaps.append((one.offset, one.count, None if one.reason == Damage.UNREAD else us))
        self._harm_at.sort()

    def _harm(self, harm: list[Harm]) -> None:
        for one in harm:
            if one.reason == Damage.GAP:
                self._counts.missing_packets += one.count
            elif one.reason == Damage.DROPPED:
                self._counts.dropped_events += one.count
            elif one.reason != Damage.UNREAD:
                self._counts.rejected += one.count
