"""Work that takes longer than a click: runs in threads of this process, and can be cancelled."""

import itertools
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any

_KEPT = 50


class Cancelled(Exception):
    """Raised inside a job by `Job.report` once somebody asked it to stop."""


@dataclass
class Job:
    """One piece of work: `share` done from 0 to 1, a word on what it is at, and its result or error at the end.

    title, place: what is done, and for which choice of runs, if for one; asked: what exactly, for who asks again.
    """

    number: int
    title: str
    place: object = None
    asked: object = None
    share: float = 0.0
    at: str = "waiting"
    result: Any = None
    error: str | None = None
    ended: bool = False
    _stop: threading.Event = field(default_factory=threading.Event)

    def report(self, share: float, at: str = "") -> None:
        """Called by the work as it goes on. Raises Cancelled when it is to stop."""
        self.share, self.at = min(max(share, 0.0), 1.0), at or self.at
        if self._stop.is_set():
            raise Cancelled

    def cancel(self) -> None:
        """Asks the work to stop at its next report."""
        self._stop.set()

    @property
    def cancelled(self) -> bool:
        """Whether somebody asked it to stop."""
        return self._stop.is_set()


class Jobs:
    """The jobs of one dashboard; two run at a time, the last fifty are remembered."""

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(max_workers=2, thread_name_prefix="job")
        self._jobs: dict[int, Job] = {}
        self._numbers = itertools.count(1)
        self._lock = threading.Lock()

    def start(self, title: str, work: Callable[[Job], Any], place: object = None, asked: object = None) -> Job:
        """Runs `work(job)` when a thread is free. Who asks the same meanwhile joins it, unless `asked` is None."""
        with self._lock:
            for other in self._jobs.values():
                same = (other.title, other.place, other.asked) == (title, place, asked)
                if same and asked is not None and not (other.ended or other.cancelled):
                    return other
            job = Job(next(self._numbers), title, place, asked)
            self._jobs[job.number] = job
            for old in list(self._jobs)[:-_KEPT]:
                if self._jobs[old].ended:
                    del self._jobs[old]
        self._pool.submit(_run, job, work)
        return job

    def get(self, number: int | None) -> Job | None:
        """The job of that number, if it is remembered."""
        return self._jobs.get(number or 0)

    def latest(self, title: str, place: object = None) -> Job | None:
        """The last of that title for that place, whoever started it; None when there was none, or it is forgotten."""
        with self._lock:
            mine = [job for job in self._jobs.values() if (job.title, job.place) == (title, place)]
        return mine[-1] if mine else None

    def close(self) -> None:
        """Asks all jobs to stop and waits for them."""
        for job in self._jobs.values():
            job.cancel()
        self._pool.shutdown(wait=True, cancel_futures=True)


def _run(job: Job, work: Callable[[Job], Any]) -> None:
    try:
        job.report(0.0, "started")
        job.result = work(job)
        job.share, job.at = 1.0, "done"
    except Cancelled:
        job.at = "cancelled"
    except Exception as error:  # whatever went wrong in the thread must reach the page, not vanish with the thread
        job.error, job.at = f"{error}" or type(error).__name__, "failed"
    finally:
        job.ended = True
