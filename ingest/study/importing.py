"""One log on its way into the study: bytes, packets, events, runs, rows."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import count, islice
from pathlib import Path

import duckdb
import numpy as np

from ingest.assembling.again import Before, ReadAgain, dictionaries_in
from ingest.assembling.assembly import Assembler
from ingest.assembling.ledger import Ids
from ingest.assembling.places import Places
from ingest.assembling.said_of_runs import MOST_DAMAGE_ROWS
from ingest.assembling.structure import built_from, told
from ingest.capture.clock import drift_ppm
from ingest.capture.line_notices import LEAST_PACKETS, Line, dropped, full_rate, no_dictionary, rate_found
from ingest.capture.log_file import chunks, received, shown
from ingest.capture.sidecar import Sidecar
from ingest.capture.stopped_clock import StoppedClock
from ingest.given_dictionary import Given
from ingest.study.capture_counts import Notice
from ingest.study.describing import Describer, next_id
from ingest.study.ids import base_kept, base_of
from ingest.study.notices import clock, limits
from ingest.study.removal import remove_capture
from ingest.study.tables import EventTables
from ingest.study.writer import Writer
from ingest.wire.framing import NEWER, REASONS, Damage, Framer, Packets
from ingest.wire.power_up import Harm, PowerUp, Span
from ingest.wire.records import microseconds
from ingest.wire.session import Session

_ROWS_AT_ONCE = 5000
# Events that runs are built from and that are gone through at once: each takes some kilobytes meanwhile. More of them
# than a few hundred in one chunk can only come from a log that means harm.
_MOST_TOLD = 8192
# And in a whole log: ten times as many as a day of play has.
MOST_TOLD = 500_000
# Each run costs what five events in it do. A day of play has a tenth of so many.
MOST_RUNS = 100_000
_CLOCK_EVERY = 1024


@dataclass
class _Counts:
    packets: int = 0
    events: int = 0
    rejected: int = 0
    missing: int = 0
    dropped: int = 0
    dropped_at: int = 0
    newer: int = 0
    unread: int = 0
    unread_at: int = 0
    damage_rows: int = 0


class Import:
    """One log on its way into the study, within a transaction that the caller began."""

    def __init__(
        self,
        cursor: duckdb.DuckDBPyConnection,
        writer: Writer,
        path: Path,
        size: int,
        key: str,
        sha256: str,
        replaced: int | None,
        sidecar: Sidecar | None,
        before: Before,
        given: Given | None = None,
    ):
        self._cursor, self._writer = cursor, writer
        self._path, self._size, self._key, self._sha256 = path, size, key, sha256
        self._sidecar, self._given, self._before = sidecar, given, before
        arrivals = () if sidecar is None else sidecar.arrivals
        self._arrivals = (np.array([at for at, _ in arrivals]), np.array([byte for _, byte in arrivals], np.int64))
        self._told = 0  # events that runs are built from
        self._told_until: int | None = None  # where there were too many of them
        self._last_us: dict[int, int] = {}  # of the last event of each power-up
        self._counts = _Counts()
        others = "SELECT 1 FROM captures WHERE capture_key = ? AND capture_id IS DISTINCT FROM ?"
        if cursor.execute(others, [key, replaced]).fetchall():
            self._key = sha256  # another capture begins with the same 4 KiB: notes must not mix the two up
        base: int | None = None
        if replaced is not None:
            base = base_kept(cursor, replaced)
            self._replace(replaced)
        self._capture_id = replaced if replaced is not None else next_id(cursor, "captures", "capture_id")
        if base is None:
            base = base_of(cursor, sha256)
        ids = Ids(count(base + 1), base + 1, base + 1)
        self._first_power_up = base + 1
        self._described = Describer(cursor, writer)
        self._assembler = Assembler(self._capture_id, ids, self._described.build, before.starts)
        self._tables = EventTables(writer)
        self._places = Places(writer)
        self._stopped = StoppedClock()
        # Of each power-up, id of the dictionary and ticks a second.
        self._clocks: dict[int, tuple[int, int]] = {}
        self._ended: list[tuple[object, ...]] = []  # rows of power_ups

    def run(self, progress: Callable[[int, int], None] | None) -> int:
        """Reads it all; returns the id of the capture. Raises ReadAgain where a second reading tells more."""
        given = self._given.dictionary if self._given is not None else None
        noise = min(self._noise_bytes, self._size)
        framer = Framer(noise)
        session = Session(0 if self._sidecar is None else _CLOCK_EVERY, given, self._before.dictionaries)
        done = noise
        with self._path.open("rb") as log:
            log.seek(noise)
            for chunk in chunks(log, self._size - noise):
                packets = framer.feed(chunk)
                self._counts.packets += len(packets.start)
                self._broken(packets)
                spans, harm, ended = session.feed(packets)
                self._damage(harm)
                for span in spans:
                    self._take(span)
                self._power_ups(ended)
                if session.holding:
                    self._assembler.waiting(session.held_until)
                elif len(packets.offset):
                    self._assembler.followed(int(packets.offset[-1]))
                self._insert_rows()
                done += len(chunk)
                if progress is not None:
                    progress(done, self._size)
        harm, ended = session.end()
        self._damage(harm)
        self._assembler.end()
        self._places.take(None, None, self._assembler.scopes, self._assembler.taken_back)
        self._power_ups(ended)
        self._tables.flush()
        self._places.flush()
        self._described.finish()
        if self._counts.unread:
            unread = (self._capture_id, self._counts.unread_at, Damage.UNREAD.value, self._counts.unread, None)
            self._writer.rows("damage", [unread])
        self._insert_rows(at_least=0)
        self._stops()
        self._roles()
        self._writer.wait()
        self._read_again(session)
        self._tell(session)
        tail = framer.tail_bytes
        c = self._counts
        began = received(self._path, self._sidecar)
        self._cursor.execute(
            "INSERT INTO captures VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, NULL)",
            [
                self._capture_id,
                self._key,
                self._sha256,
                shown(self._path.name),
                self._size,
                datetime.now(UTC).replace(tzinfo=None),
                began,
                c.packets,
                c.events,
                c.rejected,
                c.missing,
                c.dropped,
                tail,
                session.unread_bytes,
                c.newer,
                None if given else session.dictionaries.refusal,
            ],
        )
        return self._capture_id

    def _read_again(self, session: Session) -> None:
        late = session.late_dictionaries(lambda ids: dictionaries_in(self._cursor, ids))
        if late:
            raise ReadAgain(replace(self._before, dictionaries={**self._before.dictionaries, **late}))
        starts = self._assembler.outside.starts() if self._before.starts is None else None
        if starts is not None:
            raise ReadAgain(replace(self._before, starts=starts))

    def _stops(self) -> None:
        """Where the clock stood: the view `runs` leaves out what it touched."""
        stops = [
            (self._first_power_up + stop.power_up, microseconds(stop.tick, stop.clock_hz))
            for stop in self._stopped.stops
        ]
        self._writer.rows("clock_stops", stops)

    def _roles(self) -> None:
        """With which roles the runs were built: when others hold, the log is to be read again."""
        built = [(self._capture_id, one.number, built_from(one.dictionary), True) for one in self._described.met]
        self._writer.rows("built_roles", built)

    def _tell(self, session: Session) -> None:
        """Writes the notices; runs are in their table by now."""
        given = self._given
        own = [] if given is not None and given.dictionary is not None else session.dictionaries.notices
        asked = (
            "SELECT count(*) FROM all_runs WHERE capture_id = ? AND end_us <= start_us AND begun = 'seen' AND "
            "(deaths > 0 OR ending <> 'cut')"
        )
        ((timeless,),) = self._cursor.execute(asked, [self._capture_id]).fetchall()
        notices = [
            *self._of_the_line(session),
            *limits(self._told_until, self._described.full, session.stopped_at),
            *clock(self._stopped.stops, session.ran_back, session.ran_back_at, timeless),
            *(given.notices if given is not None else ()),
            *self._of_the_search(),
            *own,
        ]
        told = [(self._capture_id, n.byte_offset, n.about.value, n.what, n.remedy) for n in notices]
        self._writer.rows("notices", told)
        self._writer.wait()

    @property
    def _noise_bytes(self) -> int:
        """What was heard before the line's rate was found."""
        return 0 if self._sidecar is None else self._sidecar.noise_bytes

    def _of_the_search(self) -> Iterator[Notice]:
        if self._sidecar is not None and self._sidecar.noise_bytes and self._sidecar.baud:
            yield rate_found(self._sidecar.noise_bytes, self._sidecar.tried, self._sidecar.baud)

    def _of_the_line(self, session: Session) -> Iterator[Notice]:
        c, missing = self._counts, session.dictionary_missing
        baud = None if self._sidecar is None else self._sidecar.baud
        if missing is not None:
            yield no_dictionary(c.unread_at, *missing, c.dropped, Line(baud, self._arrival_rate()))
        elif c.dropped and c.events:
            yield dropped(c.dropped_at, c.dropped, c.events, Line(baud, session.full_bytes_per_s))

    def _arrival_rate(self) -> float | None:
        """Bytes a second over the whole recording, where their times of arrival are known."""
        arrivals = () if self._sidecar is None else self._sidecar.arrivals
        if len(arrivals) < LEAST_PACKETS:
            return None
        (first, before), (last, after) = arrivals[0], arrivals[-1]
        return full_rate(len(arrivals), after - before, last - first)

    def _replace(self, capture_id: int) -> None:
        """Makes way for the longer log of a capture."""
        for table in ("run_notes", "withheld"):
            self._cursor.execute(
                f"UPDATE {table} SET capture_key = $key WHERE capture_key = "
                "(SELECT capture_key FROM captures WHERE capture_id = $capture)",
                {"key": self._key, "capture": capture_id},
            )
        remove_capture(self._cursor, capture_id)

    def _broken(self, packets: Packets) -> None:
        """Frames that were no packets: all are counted, and of the first the places are kept."""
        c, offset = self._counts, packets.bad_offset
        if not len(offset):
            return
        newer = int(np.count_nonzero(packets.bad_code == NEWER))
        c.newer, c.rejected = c.newer + newer, c.rejected + len(offset) - newer
        # Whatever lies between the same two packets does the same harm to a run.
        _, first = np.unique(np.searchsorted(packets.offset, offset), return_index=True)
        self._assembler.damage(offset[first].tolist())
        rows = zip(offset.tolist(), packets.bad_code.tolist(), strict=True)
        self._damage_rows([(at, REASONS[code].value, 1, None) for at, code in islice(rows, self._room)])

    @property
    def _room(self) -> int:
        return MOST_DAMAGE_ROWS - self._counts.damage_rows

    def _damage_rows(self, rows: list[tuple[int, str, int, int | None]]) -> None:
        self._counts.damage_rows += len(rows)
        self._writer.rows("damage", [(self._capture_id, *row) for row in rows])

    def _damage(self, harm: list[Harm]) -> None:
        c = self._counts
        for one in harm:
            if one.reason == Damage.DROPPED:
                c.dropped_at = min(c.dropped_at, one.offset) if c.dropped else one.offset
                c.dropped += one.count
            elif one.reason == Damage.GAP:
                c.missing += one.count
            elif one.reason == Damage.VERSION:
                c.newer += one.count
            elif one.reason == Damage.UNREAD:
                # How often this is told depends on how the log was cut; one row says it all.
                c.unread_at = min(c.unread_at, one.offset) if c.unread else one.offset
                c.unread += one.count
            else:
                c.rejected += one.count
        self._assembler.damage([one.offset for one in harm])
        kept = islice((one for one in harm if one.reason != Damage.UNREAD), self._room)
        self._damage_rows([(one.offset, one.reason.value, one.count, one.ticks) for one in kept])

    def _take(self, span: Span) -> None:
        described = self._described.of(span.dictionary)
        dictionary = described.dictionary
        self._clocks[span.power_up.number] = described.number, dictionary.clock_hz
        power_up_id = self._first_power_up + span.power_up.number
        batch = described.reader.read(span.data, span.start, span.length, span.tick, span.offset)
        tells = told(dictionary, batch)
        parts = min(len(span.start), -(-tells // _MOST_TOLD))
        if parts > 1:
            for part in np.array_split(np.arange(len(span.start)), parts):
                self._take(span.part(slice(part[0], part[-1] + 1)))
            return
        self._stopped.take(span)
        if len(batch.bad):
            self._damage([Harm(int(span.offset[i]), Damage.BODY) for i in batch.bad.tolist()])
        self._counts.events += len(batch.tick)
        if len(batch.tick):
            self._last_us[span.power_up.number] = microseconds(int(batch.tick[-1]), dictionary.clock_hz)
        self._told += tells
        if self._told <= MOST_TOLD and self._assembler.runs < MOST_RUNS:
            run, stage = self._assembler.take(span.power_up, power_up_id, dictionary, batch)
            self._places.take(dictionary, batch, self._assembler.scopes, self._assembler.taken_back)
        else:
            self._told_until = int(span.offset[0]) if self._told_until is None else self._told_until
            run = stage = np.full(len(batch.tick), -1, np.int32)
        for events in batch.by_kind:
            self._tables.add(described.tables[events.kind], events, power_up_id, run, stage)
        self._insert_rows()

    def _power_ups(self, ended: list[PowerUp]) -> None:
        rows = []
        for up in ended:
            dictionary_id, clock_hz = self._clocks.pop(up.number, (None, 0))
            first = last = drift = None
            if dictionary_id is not None:
                first, last = (microseconds(tick, clock_hz) for tick in (up.first_tick, up.last_tick))
                last = max(last, self._last_us.pop(up.number, last))
                drift = self._drift(up, clock_hz)
            power_up_id = self._first_power_up + up.number
            rows.append(
                (power_up_id, self._capture_id, up.number + 1, up.nonce, up.lacks, dictionary_id, first, last, drift)
            )
        self._ended += rows

    def _drift(self, up: PowerUp, clock_hz: int) -> float | None:
        if self._sidecar is None or not self._sidecar.arrivals or not up.clock:
            return None
        offset, tick = (np.concatenate(column) for column in zip(*up.clock, strict=True))
        return drift_ppm(*self._arrivals, offset, tick / clock_hz)

    def _insert_rows(self, at_least: int = _ROWS_AT_ONCE) -> None:
        if len(self._ended) >= at_least:
            self._writer.rows("power_ups", self._ended)
            self._ended = []
        rows = self._assembler.rows
        for table in ("all_runs", "stages", "lives", "spells"):
            ready = getattr(rows, table)
            if len(ready) >= at_least:
                self._writer.rows(table, ready)
                setattr(rows, table, [])
