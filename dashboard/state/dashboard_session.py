"""What one running dashboard holds: the open study, and what goes on beside the pages."""

from collections.abc import Callable, Sequence
from hashlib import sha256
from pathlib import Path

from dashboard.state.changing import Changing, Undo
from dashboard.state.follower import Follower
from dashboard.state.jobs import Jobs
from dashboard.state.shared_study import SharedStudy
from dashboard.state.stage_pictures import StagePictures
from ingest.capture.captures import Captures
from ingest.study.store import ImportResult, Status, Study, import_log
from ingest.study.taken_in import TakenIn


class Session(Changing):
    """One study, shared by all pages. Safe to use from several threads.

    study: held to the end, or let go of whenever another process wants it (SharedStudy);
    recordings: the folder of the live page's; thrown_away: it and the study are deleted at the end;
    known_as: what a browser tells the study from others by that were opened at the same address.
    """

    def __init__(self, study: Study | SharedStudy, recordings: Path | None = None, thrown_away: bool = False):
        super().__init__(study)
        self.thrown_away = thrown_away
        self.known_as = sha256(str(study.path.resolve()).encode()).hexdigest()[:16]
        self.pictures = StagePictures()
        self.jobs = Jobs()
        self.drafts: dict[str, str] = {}  # game -> its targets as they stand on the page, not kept yet
        self.captures = Captures(recordings) if recordings is not None else None
        self.follower = Follower(recordings, self.import_log) if recordings is not None else None

    def import_log(self, path: Path, progress: Callable[[int, int], None] | None = None) -> ImportResult:
        """Brings one play log into the study. Raises OSError where it cannot be read."""
        with self.writing() as study:
            result = import_log(study, path, progress)
        if result.status != Status.UNCHANGED:
            self.changed()
        return result

    def undo_imports(self, imports: Sequence[TakenIn]) -> None:
        """Lets logs that were just imported be taken out again by `undo`, together; the logs themselves stay."""
        if not imports:
            return

        def take_back() -> None:
            with self.writing() as study:
                for one in reversed(imports):
                    one.take_back(study)

        what = "the import of a log" if len(imports) == 1 else f"the import of {len(imports)} logs"
        self.remember(Undo(what, take_back))

    def close(self) -> None:
        """Ends recordings and jobs, ingests what came last, and closes the study."""
        if self.captures is not None:
            self.captures.stop_all(give_up=True)
        if self.follower is not None:
            self.follower.close()
        self.jobs.close()
        self.study.close()
