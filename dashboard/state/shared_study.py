"""The study of a process that stays: held as long as nobody else wants it, and let go of in between.

    shared = SharedStudy(path)
    with shared.writing() as study:
        import_log(study, log)
    RememberingReader(shared.connection)

Another process may read or write whenever no thread of this one is at work. What it wrote is told by `on_change`.
"""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import duckdb

from ingest.study.store import Study, open_study
from ingest.study.study_errors import StudyBusy, StudyDamaged, StudyError, damage
from ingest.study.wanted import TRY_S, Wanted, open_when_free

_LOOK_S = 0.1
# People wait in front of a page; a job or a recording can wait longer.
READING_PATIENCE_S = 20.0
WRITING_PATIENCE_S = 600.0

_POLITE_S = 2.0

_Stamp = list[tuple[int, int, int]]


class SharedStudy:
    """One study, for all threads of this process. Close it, or use it in a `with`."""

    def __init__(self, path: Path, memory_mb: int | None = None, say: Callable[[str], None] = lambda _: None):
        """Opens the study, which is made if there is none; `say` is told why that takes long.

        Raises StudyBusy where somebody else holds it for too long, and StudyError where it is no study.
        """
        self.path = path
        self.connection = _Asked(self)
        self._memory_mb = memory_mb
        self._wanted = Wanted(path)
        self._study: Study | None = open_when_free(path, False, memory_mb, say)
        self._users = 0  # leases that threads have now
        self._mine = threading.local()
        self._spoilt = False  # damage was met
        self._asked = False  # another process wants it
        self._asking = 0  # threads of ours that wait for another process
        self._state = threading.Condition()
        self._stamp: _Stamp = []  # of the file, when it was let go of
        self._changed = threading.Event()
        self._on_change: Callable[[], None] = lambda: None
        self._ended = threading.Event()
        self._watcher = threading.Thread(target=self._watch, name="shared study", daemon=True)
        self._watcher.start()

    def on_change(self, tell: Callable[[], None]) -> None:
        """`tell` is called, from a thread of its own, whenever another process has changed the study."""
        self._on_change = tell

    @contextmanager
    def writing(self) -> Iterator[Study]:
        """The study, open for writing. Raises StudyBusy where another process holds it for too long."""
        with self._lease(writing=True) as study:
            yield study

    @contextmanager
    def reading(self) -> Iterator[Study]:
        """The study, open for reading at least. Raises StudyBusy where another process writes for too long."""
        with self._lease(writing=False) as study:
            yield study

    def close(self) -> None:
        """Closes the study; a call that another thread is in the midst of is broken off first."""
        self._ended.set()
        self._watcher.join()
        with self._state:
            self._let_go()
            self._state.notify_all()

    def __enter__(self) -> "SharedStudy":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def _lease(self, writing: bool) -> Iterator[Study]:
        depth = getattr(self._mine, "depth", 0)
        with self._state:
            study = self._got(writing, depth)
            self._users += 1
        self._mine.depth = depth + 1
        spoilt = False
        try:
            yield study
        except (duckdb.Error, StudyDamaged) as error:
            told = error if isinstance(error, StudyDamaged) else damage(self.path, error)
            spoilt = told is not None
            if told is None or told is error:
                raise
            raise told from error
        finally:
            self._mine.depth = depth
            with self._state:
                self._users -= 1
                self._spoilt = self._spoilt or spoilt
                self._look()
                self._state.notify_all()

    def _got(self, writing: bool, own: int) -> Study:
        """The study, as soon as it can be had; `own` leases are the caller's. With the state locked."""
        began = time.monotonic()
        asking = False
        try:
            while True:
                self._look()
                waited = time.monotonic() - began
                # Who wants it gets it before the next of ours, unless others of ours keep it for long.
                ours_first = own or not self._asked or (self._study is not None and waited > _POLITE_S)
                if ours_first and self._usable(writing, own):
                    assert self._study is not None
                    return self._study
                if waited > (WRITING_PATIENCE_S if writing else READING_PATIENCE_S):
                    raise StudyBusy(f"{self.path}: another command works on this study; try again when it is done")
                if ours_first and self._study is None:
                    if not asking:
                        asking = True
                        self._asking += 1
                    self._wanted.ask()
                self._state.wait(TRY_S)
        finally:
            if asking:
                self._asking -= 1
                if not self._asking:
                    self._wanted.withdraw()

    def _usable(self, writing: bool, own: int) -> bool:
        """Opens the study if that can be, and says whether it serves. With the state locked."""
        if self._study is not None and writing and self._study.read_only:
            if own:
                raise RuntimeError("a thread that reads asked for writing: let it ask for that at once")
            if self._users:
                return False
            self._let_go()
        if self._study is None:
            self._open(writing)
        return self._study is not None

    def _open(self, writing: bool) -> None:
        """Opens the study if no other process is in the way. With the state locked."""
        if self._ended.is_set():
            raise StudyBusy(f"{self.path}: is being closed")
        if not self.path.exists():
            raise StudyError(f"{self.path}: the study has gone from there while it was open here")
        for read_only in (False,) if writing else (False, True):
            try:
                self._study = open_study(self.path, read_only, self._memory_mb)
            except StudyBusy:
                continue
            if self._stamp != _stamp(self.path):
                self._changed.set()
            return

    def _look(self) -> None:
        """Hears who wants the study, and lets go of it as soon as nobody here needs it. With the state locked.

        A damaged one is let go of too: the next who asks finds what lies there then, such as a copy from before.
        """
        if self._spoilt and self._users == 0:
            self._let_go()
            self._spoilt = False
        self._asked = self._wanted.pending() and not self._asking
        if self._asked and self._study is not None:
            self._wanted.hear()
            if self._users == 0:
                self._let_go()

    def _let_go(self) -> None:
        if self._study is not None:
            study, self._study = self._study, None
            with suppress(duckdb.Error):  # what cannot be written into a damaged file
                study.close()
            self._stamp = _stamp(self.path)

    def _watch(self) -> None:
        while not self._ended.wait(_LOOK_S):
            with self._state:
                self._look()
                if self._study is None and not self._asked and self._stamp != _stamp(self.path):
                    with suppress(StudyError):  # whoever needs it is told
                        self._open(writing=False)
                self._state.notify_all()
            if self._changed.is_set():
                self._changed.clear()
                with suppress(StudyError):
                    self._on_change()


class _Asked:
    """What readers take for the connection: each cursor is a lease."""

    def __init__(self, shared: SharedStudy):
        self._shared = shared

    @contextmanager
    def cursor(self) -> Iterator[Any]:
        """A cursor of the open study, to be used in a `with`."""
        with self._shared.reading() as study, study.connection.cursor() as cursor:
            yield cursor


def _stamp(path: Path) -> _Stamp:
    """What changes in the file, or in the log of DuckDB beside it, whenever the study is written to."""
    found = []
    for file in (path, path.with_name(path.name + ".wal")):
        with suppress(OSError):
            status = file.stat()
            found.append((status.st_mtime_ns, status.st_size, status.st_ino))
    return found
