"""One console's bytes on their way into a file, with all that is said meanwhile. Knows nothing of ports.

What the disk refuses waits in memory and is tried again with everything that follows; nothing that was
written is ever touched. Bytes go to the operating system as soon as they come, so that a killed
process loses none of them.
"""

import json
import os
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path

from ingest.assembling.whose import Answer, whose
from ingest.capture.appender import Appender, Writer
from ingest.capture.first_bytes import Verdict
from ingest.capture.live import Counts, Watch
from ingest.capture.player_tag import player_tag
from ingest.capture.rate_search import RateSearch
from ingest.capture.sidecar import LONGEST_REMARK, VERSION, Said, Sidecar, seconds_at, sidecar_path
from ingest.study.capture_counts import About, Notice

# At 115,200 baud, 11,520 bytes a second, this is an hour and a half of a full disk.
WAITING_BYTES = 64 << 20
WAITING_NOTES = 4 << 20
# Arrival times are for the clock's drift and for people: ten a second are plenty.
ARRIVAL_S = 0.1
WATCH_S = 0.1
RATE_S = 2.0
# A console that was just switched on sends its dictionary first; events that wait longer than this are told of.
DICTIONARY_S = 2.0


class State(StrEnum):
    """What a recording is doing."""

    RECORDING = "recording"
    UNPLUGGED = "unplugged"  # the port is gone; it is tried again and again
    DISK = "disk"  # the disk refuses; what comes waits in memory
    STOPPED = "stopped"


@dataclass(frozen=True)
class Status:
    """How a recording stands. `player` is that of the run in progress or the last one, `waiting` are the
    tags for the runs to come, in order. `open`: the tags of which one may be that run's player, where that is open.

    `lost_bytes` came here and could not be kept; `pending_bytes` wait for the disk. `trouble` is for people, and so are
    `notices`: what the log itself shows to be wrong on the console. `baud`: of a serial line, as it is read now;
    `search`: what was done to find that rate, in words, the oldest first.
    """

    source: str
    path: Path
    state: State
    seconds: float
    bytes: int
    bytes_per_s: float
    pending_bytes: int
    lost_bytes: int
    unplugged: int
    counts: Counts
    player: str | None
    waiting: tuple[str, ...]
    trouble: str | None
    notices: tuple[Notice, ...]
    open: tuple[str, ...] = ()
    baud: int | None = None
    search: tuple[str, ...] = ()

    @property
    def who(self) -> str:
        """Who plays, in words."""
        return f"player open: {' or '.join(self.open)}" if self.open else self.player or "no tag"


class Recording:
    """Keeps what one console sends. Safe to call from any thread. Raises OSError when it cannot begin.

    `path` must not exist; its sidecar is written beside it. `search`: other rates than `baud` are to be tried while
    noise comes. `write` and `clock` are for tests.
    """

    def __init__(
        self,
        path: Path,
        source: str,
        baud: int | None = None,
        *,
        search: bool = False,
        write: Writer = os.write,
        clock: Callable[[], float] = time.monotonic,
        waiting_bytes: int = WAITING_BYTES,
    ):
        self.path, self.source = path, source
        self._clock = clock
        self._began = clock()
        self._lock = threading.RLock()
        self._log = Appender(path, waiting_bytes, write)
        self._notes = Appender(sidecar_path(path), WAITING_NOTES, write)
        self._watch = Watch()
        self._unwatched = bytearray()
        self._watched_at = self._arrived_at = -1.0
        self._recent: deque[tuple[float, int]] = deque([(0.0, 0)])
        self._bytes = self._lost = self._unplugged = 0
        self._plugged, self._closed = True, False
        self._gone = ""
        self._losing = 0
        self._blind = ""
        self._said: list[Said] = []
        self._arrivals: list[tuple[float, int]] = []  # as the sidecar has them
        self._found: tuple[tuple[int, int, int], Answer] | None = None
        self._baud = baud
        self._search = RateSearch(baud) if search and baud is not None else None
        self._waiting_since: float | None = None  # events, for their dictionary
        started = datetime.now(UTC).isoformat(timespec="milliseconds")
        self._line({"capture": VERSION, "started": started, "source": source, "baud": baud})

    @property
    def closed(self) -> bool:
        return self._closed

    def take(self, chunk: bytes) -> None:
        """Keeps the bytes that have just come. An empty chunk tries again what the disk refused."""
        with self._lock:
            if not self._log.append(chunk):
                self._lost += len(chunk)
                self._losing += len(chunk)
                return
            if self._losing:
                self._note(lost=self._losing)
                self._losing = 0
            self._notes.retry()
            now = self._now()
            self._bytes += len(chunk)
            if chunk:
                self._unwatched += chunk
                self._recent.append((now, self._bytes))
                if now - self._arrived_at >= ARRIVAL_S:
                    self._note()
                    self._arrived_at = now
            if now - self._watched_at >= WATCH_S:
                self._look(now)

    def baud_to_try(self, quiet: bool) -> int | None:
        """The rate that the port should be set to now, if any; `quiet`: nothing is coming just now."""
        with self._lock:
            if self._search is None or self._search.done or self._closed:
                return None
            now = self._now()
            self._look(now)
            baud = self._search.judge(self._watch.first_bytes, now, quiet)
            if self._search.done and self._search.began:
                self._note(baud=self._search.baud, byte=self._watch.first_bytes.packet_at)
            return baud

    def listens_at(self, baud: int) -> None:
        """The port is set to `baud`: nothing that came before is looked at again, nor counted as damage."""
        with self._lock:
            if self._search is not None:
                self._note(baud=baud)
                self._search.listens(baud, self._now())
                self._baud, self._watch = baud, Watch(self._bytes)
                self._unwatched.clear()

    def cannot_listen_at(self, baud: int) -> None:
        """The port refuses `baud`."""
        with self._lock:
            if self._search is not None:
                self._search.refused(baud)

    def next_player(self, text: str) -> str:
        """Binds a tag to the next run, behind the tags that wait already; returns it. Raises BadTag."""
        return self._tag(text, current=False)

    def this_player(self, text: str) -> str:
        """Binds a tag to the run in progress, or between runs to the last; returns it. Raises BadTag."""
        return self._tag(text, current=True)

    def take_back(self) -> None:
        """Takes back the tags that wait for a run."""
        with self._lock:
            self._said.append(Said(self._bytes, at=self._now()))
            self._note(player=None)

    def remark(self, text: str) -> None:
        """Notes a remark on the run in progress, or between runs on the last one."""
        words = " ".join(text.split())[:LONGEST_REMARK]
        if words:
            with self._lock:
                self._note(remark=words)

    def unplugged(self, gone: str = "") -> None:
        """The port has gone; `gone` says so for people, and what to do."""
        with self._lock:
            if self._plugged:
                self._plugged, self._gone = False, gone or "the port has gone"
                self._unplugged += 1
                self._note(line="lost")

    def plugged(self) -> None:
        """The port is back."""
        with self._lock:
            if not self._plugged:
                self._plugged = True
                self._note(line="back")

    def status(self) -> Status:
        """How it stands now."""
        with self._lock:
            now = self._now()
            if not self._closed:
                self._look(now)
            while len(self._recent) > 1 and now - self._recent[0][0] > RATE_S:
                self._recent.popleft()
            since, before = self._recent[0]
            rate = (self._bytes - before) / max(now - since, 0.1)
            found = self._whose()
            return Status(
                self.source,
                self.path,
                self._state(),
                now,
                self._bytes,
                rate,
                self._log.waiting_bytes,
                self._lost,
                self._unplugged,
                self._watch.counts,
                self._player(found),
                found.waiting,
                self._trouble(),
                self._notices(now, rate),
                found.candidates[-1] if found.candidates else (),
                self._baud,
                () if self._search is None else self._search.said,
            )

    def close(self, give_up: bool = False) -> bool:
        """Ends the recording. False, and still open, while the disk refuses what waits, unless `give_up`."""
        with self._lock:
            if self._closed:
                return True
            if not self._log.retry() and not give_up:
                return False
            given_up = self._log.waiting_bytes
            self._bytes -= given_up
            self._lost += given_up
            self._losing += given_up
            if given_up:
                self._recent = deque([(self._now(), self._bytes)])  # what is given up is no rate below zero
            self._look(self._now())
            if self._losing:
                self._note(lost=self._losing)
            self._note()
            self._notes.retry()
            self._log.close()
            self._notes.close()
            self._closed = True
            return True

    def _tag(self, text: str, current: bool) -> str:
        tag = player_tag(text)
        with self._lock:
            self._said.append(Said(self._bytes, tag, current, at=self._now()))
            self._note(player=tag, **({"current": True} if current else {}))
        return tag

    def _now(self) -> float:
        return self._clock() - self._began

    def _look(self, now: float) -> None:
        unwatched, self._watched_at = bytes(self._unwatched), now
        self._unwatched.clear()
        if self._blind:
            return
        try:
            self._watch.feed(unwatched)
            if not self._watch.waits_for_dictionary:
                self._waiting_since = None
            elif self._waiting_since is None:
                self._waiting_since = now
        except Exception as error:
            # Counting is a service; whatever goes wrong in it must not end the recording.
            self._blind = f"live counts have stopped ({type(error).__name__}: {error}); the recording goes on"

    def _notices(self, now: float, bytes_per_s: float) -> tuple[Notice, ...]:
        waited_s = now if self._plugged and not self._closed else None
        told = self._watch.notices(self._baud, bytes_per_s, waited_s)
        waited = self._waiting_since is not None and now - self._waiting_since >= DICTIONARY_S
        return tuple(one for one in told if self._is_due(one, waited))

    def _is_due(self, notice: Notice, waited: bool) -> bool:
        """While rates are tried, the search itself tells of noise, and silence at one of them is nothing to tell of."""
        if notice.about == About.LINE and self._search is not None:
            told_by_search = Verdict.NOISE, *([Verdict.NOTHING] if self._search.began else [])
            return self._watch.first_bytes.verdict not in told_by_search
        return waited or notice.about != About.MISSING

    def _note(self, **what: object) -> None:
        at = round(self._now(), 4)
        if not what and not self._closed:
            self._arrivals.append((at, self._bytes))
        self._line({"at": at, "byte": self._bytes} | what)

    def _line(self, line: dict[str, object]) -> None:
        if not self._closed:
            self._notes.append((json.dumps(line, separators=(",", ":")) + "\n").encode())

    def _state(self) -> State:
        if self._closed:
            return State.STOPPED
        if self._log.waiting_bytes:
            return State.DISK
        return State.RECORDING if self._plugged else State.UNPLUGGED

    def _whose(self) -> Answer:
        """Whose the runs so far are, as the study will read it; worked out anew where something came or was said."""
        watch = self._watch
        known = len(self._said), len(watch.start_bytes), watch.harms
        if self._found is None or self._found[0] != known:
            sidecar = Sidecar(arrivals=tuple(self._arrivals))
            came = watch.came(seconds_at(sidecar, watch.start_bytes))
            self._found = known, whose(self._said, came, watch.unseen())
        return self._found[1]

    def _player(self, found: Answer) -> str | None:
        """Who plays: a tag given here stands above the one that the console logged."""
        if found.candidates and found.candidates[-1]:
            return None
        logged = self._watch.logged_players[-1:]
        said = found.players[-1] if found.players else None
        return said or (f"P{logged[0]:02d}" if logged and logged[0] > 0 else None)

    def _trouble(self) -> str | None:
        words = []
        refusal, waiting = self._log.refusal or self._notes.refusal, self._log.waiting_bytes
        if refusal and not self._closed:
            words.append(f"the disk refuses ({refusal}): {waiting} bytes wait in memory; free some space")
        if self._blind:
            words.append(self._blind)
        if self._lost:
            words.append(f"{self._lost} bytes were lost")
        if not self._plugged and not self._closed:
            words.append(self._gone)
        return "; ".join(words) or None
