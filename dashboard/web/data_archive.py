"""The data of a study as an archive that is sent while it is made."""

import io
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any, cast

from analysis.data.exporting import FORMATS, Asked, about, export
from dashboard.state.dashboard_session import Session

_PIECE = 1 << 18


class _Sent(io.RawIOBase):
    """Where the archive is written to: what has not been sent yet."""

    def __init__(self) -> None:
        self._pieces: list[bytes] = []

    def writable(self) -> bool:
        return True

    def write(self, piece: Any) -> int:
        self._pieces.append(bytes(piece))
        return len(self._pieces[-1])

    def taken(self) -> bytes:
        """What came since the last time."""
        whole = b"".join(self._pieces)
        self._pieces.clear()
        return whole


def packed(session: Session, tags: bool) -> Iterator[bytes]:
    """The archive, piece by piece.

    What it is goes first, so that the browser shows a download while the rest is written; who cancels that there ends
    it here.
    """
    sent = _Sent()
    asked = Asked(session.study.path.stem, FORMATS, session.games(), tags=tags)
    with (
        tempfile.TemporaryDirectory(prefix="setscrew-") as folder,
        zipfile.ZipFile(cast(IO[bytes], sent), "w", zipfile.ZIP_DEFLATED) as archive,
    ):
        archive.writestr("data/README.txt", "\n".join(about(session.reader, asked)) + "\n")
        yield sent.taken()
        with session.writing():  # nothing may come in between, so that the tables are of the same runs
            done = export(session.reader, asked, Path(folder))
        for path in done.files:
            with archive.open(f"data/{path.relative_to(folder).as_posix()}", "w") as into, path.open("rb") as file:
                while piece := file.read(_PIECE):
                    into.write(piece)
                    yield sent.taken()
    yield sent.taken()
