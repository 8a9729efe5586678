"""Ingests recordings while they grow, so that the pages are never far behind the console."""

import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from analysis.quality import judge
from ingest.study.store import NoPacket

# A growing log is read again from its beginning each time; the pause grows with that, so that half the time is free.
_SHORTEST_PAUSE_S = 0.4


class Follower:
    """One thread that ingests each recording of a folder, and again whenever it has grown.

    Whoever writes there is followed: this process, or `setscrew record` in another. `ingest(path)` brings one file
    into the study. Errors are kept in `trouble`, by file name, and tried again when the file changes; so is a recording
    in which no packet has come yet.
    """

    def __init__(self, folder: Path, ingest: Callable[[Path], Any]):
        self.trouble: dict[str, str] = {}
        self._folder, self._ingest = folder, ingest
        self._seen: dict[Path, tuple[object, ...]] = {}
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="follower", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Ingests what is there for the last time, and ends."""
        self._stop.set()
        self._thread.join()
        self._look()

    def _run(self) -> None:
        pause = 0.0
        while not self._stop.wait(pause):
            began = time.monotonic()
            self._look()
            pause = max(_SHORTEST_PAUSE_S, time.monotonic() - began)

    def _look(self) -> None:
        for path in sorted(self._folder.glob("*.playlog")):
            try:
                size = path.stat().st_size
                # What was said meanwhile, and a dictionary that somebody corrected.
                beside = (path.with_suffix(".capture.jsonl"), path.with_suffix(".dictionary.txt"))
                state = (size, *((one.stat().st_size, one.stat().st_mtime_ns) for one in beside if one.exists()))
                if size == 0 or state == self._seen.get(path):
                    continue
                self._seen[path] = state
                self._ingest(path)
                self.trouble.pop(path.name, None)
            except NoPacket as error:
                # The first bytes of any recording may be the end of a packet. More than one is trouble.
                if error.counts.rejected_packets + error.counts.newer_packets > 1:
                    self.trouble[path.name] = f"{path.name} is not in the study yet: {judge(error.counts).words}"
            except Exception as error:  # the recording goes on whatever happens here; the page shows the words
                self.trouble[path.name] = f"{path.name} could not be ingested: {error}"
