"""What one running dashboard holds: the open study, the findings asked for so far, and what can be undone."""

import json
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from analysis.finding import Finding
from analysis.findings import QUESTIONS
from analysis.findings.deaths import one_death
from analysis.findings.deaths.one_death import DeathList, Place
from analysis.findings.games.side_by_side import side_by_side
from analysis.findings.trust.logs_received import why_no_run
from analysis.game_kind import Contradiction, contradictions
from analysis.reader import Columns, RememberingReader
from analysis.selection import Selection
from analysis.tuning_answers.tuning_data import said_of_testers
from dashboard.state.follower import Follower
from dashboard.state.jobs import Job, Jobs
from dashboard.state.shared_study import SharedStudy
from dashboard.state.stage_pictures import StagePictures
from dashboard.web.filters import Choices
from ingest.capture.captures import Captures
from ingest.said import notes
from ingest.said.rereading import Followed, read_again, usual_places
from ingest.said.roles import Listed, games, listed
from ingest.study.store import ImportResult, Status, Study, import_log
from ingest.study.taken_in import TakenIn
from ingest.vocabulary import Recruitment

_KEPT_ANSWERS = 256
_Answer = TypeVar("_Answer")


@dataclass(frozen=True)
class Undo:
    """How to take back the last change."""

    what: str
    take_back: Callable[[], None]


@dataclass(frozen=True)
class Basis:
    """What the chosen runs amount to."""

    players: int
    runs: int
    damaged: int
    fingerprint: str


class Session:
    """One study, shared by all pages. Safe to use from several threads.

    study: held to the end, or let go of whenever another process wants it (SharedStudy);
    recordings: the folder of the live page's; thrown_away: it and the study are deleted at the end.
    """

    def __init__(self, study: Study | SharedStudy, recordings: Path | None = None, thrown_away: bool = False):
        self.study = study
        self.thrown_away = thrown_away
        self.connection = study.connection
        self.reader = RememberingReader(study.connection)
        self.pictures = StagePictures()
        self.jobs = Jobs()
        self._one_writes = threading.RLock()
        self._answers: OrderedDict[tuple[object, ...], object] = OrderedDict()
        self._answers_lock = threading.Lock()
        self._gates: dict[tuple[object, ...], threading.Lock] = {}
        self._undo: list[Undo] = []
        self._version = 1
        if isinstance(study, SharedStudy):
            study.on_change(self.changed)
        self.captures = Captures(recordings) if recordings is not None else None
        self.follower = Follower(recordings, self.import_log) if recordings is not None else None

    @property
    def version(self) -> int:
        """Grows with every change of the study; pages redraw when it has."""
        return self._version

    def changed(self) -> None:
        """To be called after every change of the study."""
        with self._answers_lock:
            self._version += 1
            self._answers.clear()
            self.reader.forget()

    # --- reading -------------------------------------------------------------------------------------------------

    def findings(self, question: str, selection: Selection) -> list[Finding]:
        """The findings on one question; [] for a question that nobody answers."""
        asked = QUESTIONS.get(question)
        if asked is None:
            return []
        return self._once(("findings", question, selection), lambda: asked.find(self.reader, selection))

    def asked_of(self, game: str) -> list[str]:
        """The questions that can be asked of a game: of one without notes, not whether they are hit."""
        roles = set(self.ask("kinds_of_roles", game=game)["role"])
        return [question.id for question in QUESTIONS.values() if question.applies(roles)]

    def all_findings(self, selection: Selection) -> list[Finding]:
        """The findings on every question, in the order of the pages."""
        return [finding for question in QUESTIONS for finding in self.findings(question, selection)]

    def side_by_side(self) -> list[Finding]:
        """The games of the study compared."""
        every = [Selection(game) for game in self.games()]
        return self._once(("side by side",), lambda: side_by_side(self.reader, every))

    def finding(self, key: str, selection: Selection) -> Finding | None:
        """One finding by its key, which mostly begins with its question."""
        first = key.partition(".")[0]
        if first == "games":
            return next((one for one in self.side_by_side() if one.key == key), None)
        for question in sorted(QUESTIONS, key=lambda question: question != first):
            for one in self.findings(question, selection):
                if one.key == key:
                    return one
        return None

    def deaths_at(self, selection: Selection, whole: Finding | None, place: Place | None) -> DeathList:
        """The deaths in one place of the death map `whole`, or all of them."""
        key = ("deaths at", selection, place)
        return self._once(key, lambda: one_death.deaths_at(self.reader, selection, whole, place))

    def one_death(self, selection: Selection, run_id: int, life: int) -> Finding | None:
        """The last seconds before one death, if `selection` holds it."""
        key = ("one death", selection, run_id, life)
        return self._once(key, lambda: one_death.find(self.reader, selection, run_id, life))

    def ask(self, query: str, **parameters: object) -> Columns:
        """One of analysis/queries, remembered until the study changes."""
        return self._once((query, *sorted(parameters.items())), lambda: self.reader.ask(query, **parameters))

    def games(self) -> tuple[str, ...]:
        """The games of the study, the most played first."""
        return tuple(self.ask("study_games")["game"])

    def why_no_run(self) -> str | None:
        """Why no run is in a study that holds play logs, or None."""
        return self._once(("why no run",), lambda: why_no_run(self.reader))

    def choices(self, game: str) -> Choices:
        """What the filter bar offers for `game`."""
        stages = self.ask("game_stages", game=game)
        players = self.ask("game_players", game=game)
        return Choices(
            games=self.games(),
            builds=tuple(self.ask("game_builds", game=game)["build"]),
            stages=tuple(
                (int(stage), _kind(kind)) for stage, kind in zip(stages["stage"], stages["stage_kind"], strict=True)
            ),
            players=tuple(players["player"]),
            groups=tuple(self.ask("game_groups", game=game)["player_group"]),
            attempts=int(players["attempts"].max(initial=1)),
        )

    def basis(self, selection: Selection) -> Basis:
        """How many players and runs `selection` holds, and the fingerprint of the data."""
        size = self._once(("size", selection), lambda: self.reader.ask_chosen("chosen_size", selection))
        fingerprint = self._once(("fingerprint",), self.reader.fingerprint)
        return Basis(int(size["players"][0]), int(size["runs"][0]), int(size["damaged"][0]), fingerprint)

    def _once(self, key: tuple[object, ...], answer: Callable[[], _Answer]) -> _Answer:
        with self._answers_lock:
            if key in self._answers:
                self._answers.move_to_end(key)
                return self._answers[key]  # type: ignore[return-value]
            gate = self._gates.setdefault(key, threading.Lock())
        # Who asks the same while it is being worked out waits for that answer, and does not work it out again.
        with gate:
            with self._answers_lock:
                if key in self._answers:
                    return self._answers[key]  # type: ignore[return-value]
                version = self._version
            found = answer()
            with self._answers_lock:
                self._gates.pop(key, None)
                if version == self._version:
                    self._answers[key] = found
                    if len(self._answers) > _KEPT_ANSWERS:
                        self._answers.popitem(last=False)
        return found

    def read_ahead(self, job: Job) -> None:
        """Works out what people ask first: every question on each game, the most played first. Raises Cancelled."""
        asked = [(question, game) for game in self.games() for question in self.asked_of(game)]
        for number, (question, game) in enumerate(asked):
            job.report(number / len(asked), question)
            self.findings(question, Selection(game))

    # --- changing ------------------------------------------------------------------------------------------------

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

    def testers(self) -> Recruitment:
        """How the people who played were found, as the study says."""
        return said_of_testers(self.reader)

    def note_testers(self, found: str) -> None:
        """Says how the people who played were found; can be undone. Raises ValueError as notes.note_testers does."""
        with self.writing() as study:
            moment = notes.note_testers(study.connection, found)
        self._remember("how the players were found", "testers", moment)

    def roles(self) -> dict[str, list[Listed]]:
        """The kinds, fields and tunables of each game with their roles, as they hold and as the logs say."""

        def of_all() -> dict[str, list[Listed]]:
            with self.connection.cursor() as cursor:
                return {game: listed(cursor, game) for game in games(cursor)}

        return self._once(("roles",), of_all)

    def odd_roles(self) -> dict[str, tuple[Contradiction, ...]]:
        """Of each game, the roles that its logs speak against; games without any are left out."""
        return self._once(("odd roles",), lambda: contradictions(self.reader))

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

    def words(self) -> dict[str, str]:
        """What the authors wrote themselves for the report, by its place there; {} as long as they wrote nothing."""
        kept = self.reader.ask("report_words")["words_json"]
        words = json.loads(kept[0]) if len(kept) else {}
        return {str(place): str(text) for place, text in words.items()}

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
        with self._answers_lock:
            self._undo.append(undo)
            del self._undo[:-100]
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
        with self._answers_lock:
            last = self._undo.pop() if self._undo else None
        if last is None:
            return None
        last.take_back()
        self.changed()
        return last.what

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


def _kind(value: object) -> int:
    return 0 if value is None or not np.isfinite(float(value)) else int(value)  # type: ignore[arg-type, call-overload]
