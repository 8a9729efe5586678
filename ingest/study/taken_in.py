"""An import that can be taken back, also where the log replaced its older, shorter self."""

import tempfile
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from ingest.said.forgetting import forget_capture
from ingest.study.store import ImportResult, Status, Study, import_log


@dataclass(frozen=True)
class TakenIn:
    """One log that was imported, and the beginning of it that the study held before."""

    result: ImportResult
    before: bytes | None
    names: tuple[object, ...]

    def take_back(self, study: Study) -> None:
        """Makes the study what it was before the import, as far as this log is concerned."""
        if self.before is None:
            with suppress(KeyError):  # forgotten since
                forget_capture(study, self.result.capture_id)
            return
        with tempfile.TemporaryDirectory(prefix="setscrew-") as folder:
            path = Path(folder) / "before.playlog"
            path.write_bytes(self.before)
            import_log(study, path, in_place_of=self.result.capture_id)
        study.connection.cursor().execute(
            "UPDATE captures SET name = ?, ingested_at = ?, received_at = ? WHERE capture_id = ?",
            [*self.names, self.result.capture_id],
        )


def take_in(study: Study, path: Path, bring: Callable[[Path], ImportResult]) -> tuple[ImportResult, TakenIn | None]:
    """Imports the log at `path` by `bring`; the second is None where nothing came of it that could be taken back.

    A log that has grown begins with the bytes that the study held before: their number is all that must be known to
    bring the older one back. Raises what `bring` raises.
    """
    held = {
        row[0]: row[1:]
        for row in study.connection.cursor()
        .execute("SELECT capture_id, bytes, name, ingested_at, received_at FROM captures")
        .fetchall()
    }
    result = bring(path)
    if result.status == Status.UNCHANGED:
        return result, None
    if result.status == Status.GROWN or result.capture_id in held:
        size, *names = held[result.capture_id]
        with path.open("rb") as log:
            return result, TakenIn(result, log.read(size), tuple(names))
    return result, TakenIn(result, None, ())
