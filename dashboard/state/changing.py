"""What people say of a study through the pages; every change can be taken back."""

import json
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dashboard.state.reading import Reading
from dashboard.state.shared_study import SharedStudy
from ingest.said import notes
from ingest.said.rereading import Followed, read_again, usual_places
from ingest.study.store import Study, import_log

_MOST_UNDONE = 100


@dataclass(frozen=True)
class Undo:
    """How to take back the last change."""

    what: str
    take_back: Callable[[], None]


class Changing(Reading):
    """One study, read and changed, one change at a time."""

    def __init__(self, study: Study | SharedStudy):
        super().__init__(study.connection)
        self.study = study
        self._one_writes = threading.RLock()
        self._undo: list[Undo] = []
        self._undo_lock = threading.Lock()
        if isinstance(study, SharedStudy):
            study.on_change(self.changed)

    @contextmanager
    def writing(self) -> Iterator[Study]:
        """The study, for one thread at a time that changes it. Raises StudyBusy as SharedStudy does."""
        with self._one_writes:
            if isinstance(self.study, SharedStudy):
                with self.study.writing() as study:
                    yield study
            else:
                yield self.study

    def note_run(
        self,
        capture_key: str,
        run_number: int,
        *,
        player: str | None = None,
        valid: bool | None = None,
        reason: str | None = None,
        remark: str | None = None,
    ) -> None:
        """Says something about a run; can be undone. Raises ValueError as ingest.said.notes.note_run does."""
        with self.writing() as study:
            moment = notes.note_run(
                study.connection, capture_key, run_number, player=player, valid=valid, reason=reason, remark=remark
            )
        self._remember("the note on a run", "run_notes", moment)

    def add_target(self, game: str, target_toml: str) -> None:
        """Keeps the targets of a game; can be undone."""
        with self.writing() as study:
            moment = notes.add_target(study.connection, game, target_toml)
        self._remember("the targets", "targets", moment)

    def add_prediction(self, game: str, build: str, prediction: Any) -> None:
        """Keeps what was predicted for an accepted proposal (JSON values); can be undone."""
        prediction_json = json.dumps(prediction, allow_nan=False)
        with self.writing() as study:
            moment = notes.add_prediction(study.connection, game, build, self.reader.fingerprint(), prediction_json)
        self._remember("the accepted proposal", "predictions", moment)

    def note_order(self, game: str, earlier: Sequence[str], later: str) -> None:
        """Says which builds were played before another; can be undone. Raises ValueError as notes.note_order does."""
        with self.writing() as study:
            moment = notes.note_order(study.connection, game, earlier, later)
        self._remember("the order of the builds", "build_order", moment)

    def note_testers(self, found: str) -> None:
        """Says how the people who played were found; can be undone. Raises ValueError as notes.note_testers does."""
        with self.writing() as study:
            moment = notes.note_testers(study.connection, found)
        self._remember("how the players were found", "testers", moment)

    def correct_role(self, game: str, what: str, name: str, role: str | None) -> str:
        """Corrects a role in all logs of a game, and reads again those at hand that must be; can be undone.

        Answers what is left to do, or nothing. Raises BadRole as ingest.said.notes.note_role does.
        """
        with self.writing() as study:
            moment = notes.note_role(study.connection, game, what, name, role)

        def take_back() -> None:
            with self.writing() as study:
                notes.take_back(study.connection, "role_notes", moment)
                self._follow_roles(study)

        self.remember(Undo(f"the role of {name}", take_back))
        # Whatever becomes of the logs, the correction is kept by now, and can be undone.
        try:
            with self.writing() as study:
                return self._follow_roles(study).words()
        finally:
            self.changed()

    @staticmethod
    def _follow_roles(study: Study) -> Followed:
        return read_again(study, usual_places(study), lambda path: import_log(study, path))

    def keep_words(self, words: Mapping[str, str]) -> None:
        """Keeps the authors' own words with the study; can be undone. What is there already is no change."""
        words = dict(words)
        if words == self.words() or not (any(words.values()) or self.words()):
            return
        with self.writing() as study:
            moment = notes.add_words(study.connection, json.dumps(words, ensure_ascii=False))
        self._remember("the words of the report", "report_words", moment)

    def remember(self, undo: Undo) -> None:
        """Takes down how to undo a change that was just made, and lets every page know of the change."""
        with self._undo_lock:
            self._undo.append(undo)
            del self._undo[:-_MOST_UNDONE]
        self.changed()

    def _remember(self, what: str, table: str, moment: datetime) -> None:
        def take_back() -> None:
            with self.writing() as study:
                notes.take_back(study.connection, table, moment)

        self.remember(Undo(what, take_back))

    @property
    def last_change(self) -> str | None:
        """What `undo` would take back."""
        return self._undo[-1].what if self._undo else None

    def undo(self) -> str | None:
        """Takes back the last change and says what it was; None when there is nothing to take back."""
        with self._undo_lock:
            last = self._undo.pop() if self._undo else None
        if last is None:
            return None
        last.take_back()
        self.changed()
        return last.what
