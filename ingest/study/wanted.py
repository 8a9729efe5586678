"""How a process that wants a study asks the one that holds it: by a file beside the study, which the holder looks for.

DuckDB lets one process write, or several read. A dashboard holds its study as long as nobody asks, says that it has
heard, and lets go as soon as no thread of it is at work there. Nothing is left to tidy up after a crash: a file that
nobody touches any more is no question, and the system takes a lock from a process that has ended.
"""

import os
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from ingest.study.store import Study, open_study
from ingest.study.study_errors import StudyBusy

# Who holds a study without looking for the file (another command) may be done soon; a dashboard may be in the midst
# of a long import.
UNHEARD_S = 5.0
HEARD_S = 600.0
TRY_S = 0.05
_STALE_S = 5.0
_SAY_AFTER_S = 2.0


class Wanted:
    """The question of one study. `ask` again and again as long as it is wanted, then `withdraw`."""

    def __init__(self, study: Path):
        self._path = study.with_name(study.name + ".wanted")
        self._seen = (0, 0.0)

    def ask(self) -> None:
        """Asks, or asks still. Where nothing can be written beside the study, nobody hears it."""
        with suppress(OSError):
            self._write(b"")
            os.utime(self._path)

    def withdraw(self) -> None:
        """It is not wanted any more, or was got."""
        with suppress(OSError):
            self._path.unlink(missing_ok=True)

    @property
    def heard(self) -> bool:
        """Whether a holder said that it will let go."""
        try:
            return self._path.stat().st_size > 0
        except OSError:
            return False

    def hear(self) -> None:
        """Says that the holder will let go."""
        with suppress(OSError):
            self._write(b"heard\n")

    def pending(self) -> bool:
        """Whether somebody asks now. What has not been touched for some seconds was left by a process that has gone."""
        try:
            touched = self._path.stat().st_mtime_ns
        except OSError:
            return False
        if touched != self._seen[0]:
            self._seen = (touched, time.monotonic())
        if time.monotonic() - self._seen[1] < _STALE_S:
            return True
        self.withdraw()
        return False

    def _write(self, text: bytes) -> None:
        end = os.open(self._path, os.O_WRONLY | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o666)
        try:
            os.write(end, text)
        finally:
            os.close(end)


def open_when_free(
    path: Path, read_only: bool = False, memory_mb: int | None = None, say: Callable[[str], None] = lambda _: None
) -> Study:
    """Opens a study as `open_study` does, and waits while another process holds it, as long as it may come about.

    `say` is told once why it takes long. Raises StudyBusy in the end, and StudyError at once.
    """
    wanted, began, heard, asked, said = Wanted(path), time.monotonic(), False, False, False
    try:
        while True:
            try:
                return open_study(path, read_only, memory_mb)
            except StudyBusy:
                waited = time.monotonic() - began
                heard = heard or (asked and wanted.heard)
                if waited > (HEARD_S if heard else UNHEARD_S):
                    raise
            if heard and not said and waited > _SAY_AFTER_S:
                say(f"{path}: waiting until the open dashboard lets go of this study (Ctrl+C gives up)")
                said = True
            if not asked:
                wanted.withdraw()  # what somebody left who has gone
                asked = True
            wanted.ask()
            time.sleep(TRY_S)
    finally:
        if asked:
            wanted.withdraw()
