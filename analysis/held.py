"""A study that is held only while it is asked something, so that nobody has to wait for an open notebook."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

if TYPE_CHECKING:
    from analysis.reader import RememberingReader


class HeldStudy:
    """Opened by each question, or for the time of a `with`. Of one thread only."""

    def __init__(self, path: str | Path, read_only: bool, say: Callable[[str], None]):
        self.path = Path(path)
        self.read_only = read_only
        self._say = say
        self._held = 0
        self._open: Any = None
        self._reader: Any = None

    def __enter__(self) -> Self:
        if not self._held:
            self._take()
        self._held += 1
        return self

    def __exit__(self, *_: object) -> None:
        self._held -= 1
        if not self._held:
            self._reader, study, self._open = None, self._open, None
            study.close()

    def _take(self) -> None:
        from analysis.reader import RememberingReader
        from ingest.study.study_errors import StudyError
        from ingest.study.wanted import open_when_free

        if not self.path.exists():
            raise StudyError(
                f"{self.path}: there is no such study. Make it with: setscrew ingest --study {self.path} LOGS..."
            )
        self._open = open_when_free(self.path, self.read_only, say=self._say)
        self._reader = RememberingReader(self._open.connection)

    @contextmanager
    def _asked(self) -> "Iterator[RememberingReader]":
        with self:
            yield self._reader

    @contextmanager
    def _writing(self) -> Iterator[Any]:
        """The connection, to write by; what was read before is forgotten afterwards."""
        if self.read_only:
            raise PermissionError(
                f"{self.path} is open for reading only; to write, open it with analysis.open(..., read_only=False)"
            )
        with self._asked() as reader:
            yield self._open.connection
            reader.forget()
