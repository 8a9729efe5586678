"""What a log that is still coming in holds so far: packets, runs, damage, drops."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from ingest.capture.line_notices import Line, dropped, no_dictionary
from ingest.capture.stopped_clock import StoppedClock
from ingest.study.capture_counts import Notice
from ingest.study.notices import clock, refused_whole
from ingest.vocabulary import EventRole, FieldRole
from ingest.wire.dictionary import Dictionary
from ingest.wire.framing import Damage, Framer
from ingest.wire.records import Batch, RecordReader
from ingest.wire.session import Harm, Session

# More runs than a day of play; a hostile log could claim one a byte.
MOST_RUNS = 10_000


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


class Watch:
    """Reads a log as it comes, in chunks of any size, by the same code as the ingest; keeps no event."""

    def __init__(self) -> None:
        self._framer = Framer()
        self._session = Session()
        self._readers: dict[int, tuple[Dictionary, RecordReader]] = {}
        self._counts = Counts()
        self._stopped = StoppedClock()
        self._timeless_runs = 0  # that were over at the very tick of their start
        self._began_us: int | None = None  # the run in progress
        # Where each run begins (the first MOST_RUNS): the offset of its first packet's frame, ascending.
        self.start_bytes: list[int] = []
        # The player each run names by itself; 0: none.
        self.logged_players: list[int] = []

    @property
    def counts(self) -> Counts:
        """The totals so far, as a copy."""
        return replace(self._counts)

    @property
    def waits_for_dictionary(self) -> bool:
        """Whether events wait for a dictionary that has not come yet."""
        return self._session.dictionary_missing is not None

    def notices(self, baud: int | None = None, bytes_per_s: float | None = None) -> tuple[Notice, ...]:
        """What people at the table are to be told now, the gravest first.

        `baud` is that of the line, `bytes_per_s` what comes over it just now; None: there is no such thing.
        """
        session = self._session
        refusal = session.refusal
        return (
            *self._of_the_line(baud, bytes_per_s),
            *clock(self._stopped.stops, session.ran_back, session.ran_back_at, self._timeless_runs),
            *([refused_whole(refusal)] if refusal is not None else []),
            *session.notices,
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
        counts.packets += len(packets.start)
        counts.rejected += len(packets.bad_offset)
        spans, harm, _ = self._session.feed(packets)
        if counts.power_ups != self._session.power_ups:
            counts.power_ups = self._session.power_ups
            counts.in_run, self._began_us = False, None
        counts.refusal = self._session.refusal
        self._harm(harm)
        for span in spans:
            self._stopped.take(span)
            counts.game = span.dictionary.game
            reader = self._reader(span.dictionary)
            self._events(
                span.dictionary, reader.read(span.data, span.start, span.length, span.tick, span.offset)
            )

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
        turns: list[tuple[int, bool, int]] = []  # order, whether a run starts and does not end, when
        newest = {EventRole.RUN_START: -1, EventRole.RUN_END: -1}
        for events in batch.by_kind:
            kind = dictionary.kinds[events.kind]
            role, who = kind.role, kind.field(FieldRole.PLAYER)
            if role == EventRole.RUN_START:
                players = (
                    np.ma.filled(events.fields[who.name], 0).tolist() if who else [0] * len(events.order)
                )
                begun += zip(events.order.tolist(), batch.offset(events.order).tolist(), players, strict=True)
            if role == EventRole.DEATH:
                counts.deaths += len(events.order)
            if role in newest:
                starts = [role == EventRole.RUN_START] * len(events.order)
                turns += zip(events.order.tolist(), starts, events.at_us.tolist(), strict=True)
                newest[role] = max(newest[role], int(events.order[-1]))
        for _, starts_one, at_us in sorted(turns):
            self._timeless_runs += not starts_one and self._began_us == at_us
            self._began_us = at_us if starts_one else None
        counts.runs += len(begun)
        for _, place, player in sorted(begun)[: MOST_RUNS - len(self.start_bytes)]:
            self.start_bytes.append(place)
            self.logged_players.append(player)
        if max(newest.values()) >= 0:
            counts.in_run = newest[EventRole.RUN_START] > newest[EventRole.RUN_END]

    def _harm(self, harm: list[Harm]) -> None:
        for one in harm:
            if one.reason == Damage.GAP:
                self._counts.missing_packets += one.count
            elif one.reason == Damage.DROPPED:
                self._counts.dropped_events += one.count
            elif one.reason != Damage.UNREAD:
                self._counts.rejected += one.count
