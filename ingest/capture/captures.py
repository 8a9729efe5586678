"""Recording consoles, several at once, each in a thread. The command line and the dashboard use this.

    captures = Captures(Path("playtest"))         # the folder is made; one object a process
    name = captures.start("COM3")                 # or /dev/ttyACM0, tcp:HOST:PORT, unix:PATH; CannotOpen
    captures.next_player(name, "P07")             # for the next run; again for the one after; BadTag
    captures.this_player(name, "P07")             # for the run in progress, or between runs the last
    captures.take_back(name)                      # the tags that still wait
    captures.remark(name, "held it upside down")  # on the run in progress, or between runs the last
    for status in captures.statuses():            # recording.Status: bytes, rate, runs, damage, trouble
        status.path                               # the raw log; it only grows, ingest it at any time
    captures.stop(name)                           # False: the disk refuses what waits; try again, or give_up
    captures.stop_all()

`sources.serial_ports()` lists what can be started. A port that goes away is tried again until it is stopped, unless it
is a pseudo-terminal.
"""

import re
import threading
import time
from datetime import datetime
from pathlib import Path

from ingest.capture.recording import Recording, Status
from ingest.capture.sources import BAUD, CannotOpen, Gone, SerialSource, Source, source_named

RETRY_S = 0.5
# After a stop, what has come already is still read, for at most this long.
DRAIN_S = 0.5


class Captures:
    """The recordings of one process, by the name of their source. Safe to call from any thread."""

    def __init__(self, folder: Path):
        self.folder = folder
        self._lock = threading.Lock()
        self._running: dict[str, _Capture] = {}

    def start(self, name: str, baud: int | None = None) -> str:
        """Begins to record from the source called `name`; returns that name.

        `baud` holds for the whole recording; None: BAUD, and while what comes is noise, the usual rates in turn.
        Raises CannotOpen where the source or the file cannot be opened, or where it is recorded already.
        """
        source = source_named(name, baud or BAUD)
        if not isinstance(source, SerialSource):
            return self.start_source(source)
        return self.start_source(source, baud or BAUD, search=baud is None and source.has_baud)

    def start_source(self, source: Source, baud: int | None = None, search: bool = False) -> str:
        """As `start`, for a source of any kind; `baud` is None where it is no serial line."""
        with self._lock:
            known = self._running.get(source.name)
            if known is not None and not known.ended:
                raise CannotOpen(f"{source.name} is being recorded already")
            source.open()
            try:
                recording = Recording(self._new_path(source.name), source.name, baud, search=search)
            except OSError as error:
                source.close()
                raise CannotOpen(f"{self.folder}: no recording can be written there ({error})") from None
            self._running[source.name] = _Capture(source, recording)
            return source.name

    def statuses(self) -> list[Status]:
        """How each recording stands, those that have ended too, in the order of their start."""
        with self._lock:
            running = list(self._running.values())
        return [capture.recording.status() for capture in running]

    def status(self, name: str) -> Status:
        """How one recording stands. Raises KeyError."""
        return self._recording(name).status()

    def next_player(self, name: str, tag: str) -> str:
        """Binds `tag` to the next run of a console; returns it as it is written. Raises BadTag, KeyError."""
        return self._recording(name).next_player(tag)

    def this_player(self, name: str, tag: str) -> str:
        """Binds `tag` to the run in progress, or between runs to the last. Raises BadTag, KeyError."""
        return self._recording(name).this_player(tag)

    def take_back(self, name: str) -> None:
        """Takes back the tags that wait for a run. Raises KeyError."""
        self._recording(name).take_back()

    def remark(self, name: str, text: str) -> None:
        """Notes a remark on the run in progress, or between runs on the last. Raises KeyError."""
        self._recording(name).remark(text)

    def stop(self, name: str, give_up: bool = False) -> bool:
        """Ends a recording. False while the disk refuses what waits: then it stays until it is stopped again.

        With `give_up` it ends all the same, and its status says what was lost. Raises KeyError.
        """
        with self._lock:
            capture = self._running[name]
        return capture.stop(give_up)

    def stop_all(self, give_up: bool = False) -> bool:
        """Ends all recordings; False where one still waits for the disk."""
        with self._lock:
            running = list(self._running.values())
        for capture in running:
            capture.ask_to_stop()
        return all([capture.stop(give_up) for capture in running])

    def _recording(self, name: str) -> Recording:
        with self._lock:
            return self._running[name].recording

    def _new_path(self, source: str) -> Path:
        self.folder.mkdir(parents=True, exist_ok=True)
        short = re.sub(r"[^A-Za-z0-9]+", "-", re.split(r"[/\\]", source)[-1]).strip("-") or "console"
        stem = f"{datetime.now():%Y-%m-%d_%H%M%S}_{short}"
        number = 1
        while True:
            path = self.folder / f"{stem}{f'-{number}' if number > 1 else ''}.playlog"
            if not path.exists():
                return path
            number += 1


class _Capture:
    """One source and its recording, joined by a thread."""

    def __init__(self, source: Source, recording: Recording):
        self.recording = recording
        self._source = source
        self._stopping = threading.Event()
        # A daemon: a process that is to end must not wait for a port. The bytes are in the file already.
        self._thread = threading.Thread(target=self._run, name=f"capture {source.name}", daemon=True)
        self._thread.start()

    @property
    def ended(self) -> bool:
        return self.recording.closed

    def ask_to_stop(self) -> None:
        self._stopping.set()

    def stop(self, give_up: bool) -> bool:
        self._stopping.set()
        self._thread.join()
        return self.recording.close(give_up)

    def _run(self) -> None:
        try:
            while not self._stopping.is_set():
                gone = self._read_until_gone()
                if not self._stopping.is_set():
                    self.recording.unplugged(gone)
                    self._wait_for_source()
        finally:
            self._source.close()

    def _read_until_gone(self) -> str:
        """Reads until the source has gone, and returns what is said of that; or until the stop."""
        try:
            while not self._stopping.is_set():
                chunk = self._source.read()
                self.recording.take(chunk)
                if baud := self.recording.baud_to_try(quiet=not chunk):
                    self._listen_at(baud)
            until = time.monotonic() + DRAIN_S
            while (chunk := self._source.read()) and time.monotonic() < until:
                self.recording.take(chunk)
            self.recording.take(chunk)
        except Gone as gone:
            return str(gone)
        return ""

    def _listen_at(self, baud: int) -> None:
        # What the system still holds was heard at the rate of now.
        self.recording.take(self._source.read())
        if self.recording.baud_to_try(quiet=True) != baud:
            return
        if isinstance(self._source, SerialSource) and self._source.set_baud(baud):
            self.recording.listens_at(baud)
        else:
            self.recording.cannot_listen_at(baud)

    def _wait_for_source(self) -> None:
        self._source.close()
        while not self._stopping.wait(RETRY_S):
            self.recording.take(b"")
            try:
                self._source.open()
            except CannotOpen:
                continue
            self.recording.plugged()
            return
