"""What pages ask of the study: findings, tables, what the filter offers; each worked out once."""

import json
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings import QUESTIONS, find
from analysis.findings.deaths import one_death
from analysis.findings.deaths.one_death import DeathList, Place
from analysis.findings.games.side_by_side import side_by_side
from analysis.findings.trust.logs_received import why_no_run
from analysis.game_kind import Contradiction, contradictions
from analysis.played_order import of_newest
from analysis.reader import Columns, RememberingReader
from analysis.selection import Selection
from analysis.tuning_answers.first_runs import first_runs
from analysis.tuning_answers.tuning_data import KeptTargets, kept_targets, said_of_testers
from analysis.words import counted
from dashboard.state.jobs import Job
from dashboard.state.memory import Memory
from dashboard.web.filters import Choices, from_address
from ingest.said.roles import Listed, games, listed
from ingest.study.study_errors import StudyError
from ingest.vocabulary import Recruitment


@dataclass(frozen=True)
class Basis:
    """What the chosen runs amount to."""

    players: int
    runs: int
    damaged: int
    fingerprint: str


class Reading:
    """The questions to one open study, shared by all pages. Safe to use from several threads.

    connection: one of DuckDB, or what stands for it where the study is shared with commands.
    """

    def __init__(self, connection: Any):
        self.connection = connection
        self.reader = RememberingReader(connection)
        self._memory = Memory()
        self._once = self._memory.once

    @property
    def version(self) -> int:
        """Grows with every change of the study; pages redraw when it has."""
        return self._memory.version

    def changed(self) -> None:
        """To be called after every change of the study."""
        with suppress(StudyError):  # a study that cannot be read has lost what is to be dropped
            self.reader.forget()
        self._memory.forget()  # last: what was answered from the reader's old answers goes with it

    def chosen(self, search: str | None) -> Selection | None:
        """The selection that an address means; None when there is no game at all."""
        selection = from_address(search, self.games())
        return None if selection is None else self._of_newest(selection)

    def of_game(self, game: str) -> Selection:
        """The selection of a game where nothing is chosen: its newest build."""
        return self._of_newest(Selection(game, newest=True))

    def _of_newest(self, selection: Selection) -> Selection:
        return self._once(("newest", selection), lambda: of_newest(self.reader, selection))

    def findings(self, question: str, selection: Selection) -> list[Finding]:
        """The findings on one question; [] for a question that nobody answers."""
        if question not in QUESTIONS:
            return []
        return self._once(("findings", question, selection), lambda: find(self.reader, selection, (question,)))

    def asked_of(self, game: str) -> list[str]:
        """The questions that can be asked of a game: of one without notes, not whether they are hit."""
        roles = set(self.ask("kinds_of_roles", game=game)["role"])
        return [question.id for question in QUESTIONS.values() if question.applies(roles)]

    def all_findings(self, selection: Selection) -> list[Finding]:
        """The findings on every question, in the order of the pages."""
        return [finding for question in QUESTIONS for finding in self.findings(question, selection)]

    def side_by_side(self) -> list[Finding]:
        """The games of the study compared."""
        every = [self.of_game(game) for game in self.games()]
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

    def kept_targets(self, game: str) -> KeptTargets | None:
        """The newest targets that the study keeps for a game, if any."""
        return self._once(("targets", game), lambda: kept_targets(self.reader, game))

    def first_runs(self, game: str, build: str) -> tuple[Mapping[str, float | None], str]:
        """What was counted of giving up and of the length of a run on one build, and of whom: of first runs, as the
        models say it."""
        counts, players, runs = first_runs(self.reader, game, build)
        return counts, f"{counted(players, 'player')}, {counted(runs, 'run')}" if runs else ""

    def testers(self) -> Recruitment:
        """How the people who played were found, as the study says."""
        return said_of_testers(self.reader)

    def roles(self) -> dict[str, list[Listed]]:
        """The kinds, fields and tunables of each game with their roles, as they hold and as the logs say."""

        def of_all() -> dict[str, list[Listed]]:
            with self.connection.cursor() as cursor:
                return {game: listed(cursor, game) for game in games(cursor)}

        return self._once(("roles",), of_all)

    def odd_roles(self) -> dict[str, tuple[Contradiction, ...]]:
        """Of each game, the roles that its logs speak against; games without any are left out."""
        return self._once(("odd roles",), lambda: contradictions(self.reader))

    def words(self) -> dict[str, str]:
        """What the authors wrote themselves for the report, by its place there; {} as long as they wrote nothing."""
        kept = self.reader.ask("report_words")["words_json"]
        words = json.loads(kept[0]) if len(kept) else {}
        return {str(place): str(text) for place, text in words.items()}

    def read_ahead(self, job: Job) -> None:
        """Works out what people ask first: every question on each game, the most played first. Raises Cancelled."""
        asked = [(question, game) for game in self.games() for question in self.asked_of(game)]
        for number, (question, game) in enumerate(asked):
            job.report(number / len(asked), question)
            self.findings(question, self.of_game(game))


def _kind(value: object) -> int:
    return 0 if value is None or not np.isfinite(float(value)) else int(value)  # type: ignore[arg-type, call-overload]
