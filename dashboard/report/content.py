"""What a report holds, gathered once: words of its authors, findings, targets, proposals, methods."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from importlib.metadata import version
from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings import progress
from analysis.findings.questions import Chapter, in_chapter
from analysis.game_kind import read_kind
from analysis.methods import METHODS, Method, Source
from analysis.models.targets import TargetSet
from analysis.reader import Columns
from analysis.selection import Selection
from analysis.tuning.proposal import Proposal
from analysis.tuning_answers.tuning_data import KeptTargets
from dashboard.parts import cautions
from dashboard.report.against_targets import Standing, standings
from dashboard.report.evidence import chosen
from dashboard.report.exports import sources
from dashboard.state.dashboard_session import Session
from dashboard.state.reading import Basis
from dashboard.state.stage_pictures import StagePictures


@dataclass(frozen=True)
class About:
    """What only people know of their playtest. An empty text is shown as a gap to be filled."""

    title: str = ""
    authors: str = ""
    question: str = ""
    playtest: str = ""
    consent: str = ""
    contributions: str = ""
    interpretation: str = ""


@dataclass(frozen=True)
class BuildPlayed:
    """Who played one build: a row of queries/chosen_people.sql; days: the first and the last day, where logs tell."""

    label: str
    people: Mapping[str, float]
    days: tuple[str, ...] = ()

    def count(self, what: str) -> int:
        """One of its counts: `players`, `runs`, `quit` and so on."""
        return int(self.people[what])

    @property
    def quit_share(self) -> float | None:
        """The share of its runs that were given up."""
        return self.people["quit"] / self.people["runs"] if self.people["runs"] else None

    @property
    def run_length_s(self) -> float | None:
        """How many seconds alive a run took on average."""
        return 60 * self.people["minutes"] / self.people["runs"] if self.people["runs"] else None


@dataclass(frozen=True)
class GamePart:
    """One game of the report.

    wishes: what the targets file says, handed in or kept; None without a readable one. standings: each target on the
    newest build. evidence: the findings that answer the targets, with a figure each. first_runs: what was counted of
    them on the build that the proposals start from, and of whom.
    """

    selection: Selection
    basis: Basis
    people: Columns
    settings: Columns
    targets: KeptTargets | None
    findings: tuple[Finding, ...]
    proposals: tuple[Proposal, ...] = ()
    given_targets: str = ""
    no_proposal: str = ""
    flashing: str = ""
    builds: tuple[BuildPlayed, ...] = ()
    wishes: TargetSet | None = None
    standings: tuple[Standing, ...] = ()
    evidence: tuple[Finding, ...] = ()
    first_runs: tuple[Mapping[str, float | None], str] = ({}, "")

    def in_chapter(self, chapter: Chapter) -> tuple[Finding, ...]:
        """The findings on the questions of one chapter, in their order."""
        questions = {question.id for question in in_chapter(chapter)}
        return tuple(finding for finding in self.findings if finding.question in questions)

    @property
    def outcome(self) -> tuple[Finding, ...]:
        """The findings that tell whether a change did what was wanted."""
        return self.in_chapter(Chapter.OUTCOME)


@dataclass(frozen=True)
class Content:
    """The whole report."""

    about: About
    fingerprint: str
    setscrew: str
    made_at: str
    captures: Columns
    games: tuple[GamePart, ...]
    side_by_side: tuple[Finding, ...] = ()
    remarks: tuple[str, ...] = field(default=())
    stage_pictures: StagePictures = field(default_factory=StagePictures)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Every finding of the report."""
        return tuple(finding for game in self.games for finding in game.findings) + self.side_by_side

    @property
    def methods(self) -> dict[str, Method]:
        """The methods behind the argument, each once: of its evidence, of before and after, of the proposals."""
        keys = [finding.method for game in self.games for finding in (*game.evidence, *game.outcome)]
        keys += [proposal.method for game in self.games for proposal in game.proposals]
        return {key: METHODS[key] for key in dict.fromkeys(keys) if key in METHODS}

    @property
    def further_methods(self) -> dict[str, Method]:
        """The methods that only the appendix uses."""
        keys = dict.fromkeys(finding.method for finding in self.findings)
        return {key: METHODS[key] for key in keys if key in METHODS and key not in self.methods}

    @property
    def sources(self) -> list[Source]:
        """The publications that the methods cite, each once, those of the argument first."""
        return sources([*self.methods, *self.further_methods])

    @property
    def own_sources(self) -> list[Source]:
        """The publications that the argument cites."""
        return sources(self.methods)


def gather(
    session: Session,
    selections: Sequence[Selection],
    about: About,
    made_at: str,
    proposed: Any = None,
    targets: str = "",
) -> Content:
    """The content of a report on some games. `proposed(selection)` gives (proposals, why there are none)."""
    parts = [_game(session, selection, proposed, targets) for selection in selections]
    return Content(
        about=about,
        fingerprint=session.reader.fingerprint(),
        setscrew=version("setscrew"),
        made_at=made_at,
        captures=session.reader.ask("game_captures", games=[selection.game for selection in selections]),
        games=tuple(parts),
        side_by_side=tuple(session.side_by_side()) if len(parts) > 1 else (),
        stage_pictures=session.pictures,
    )


def _game(session: Session, selection: Selection, proposed: Any, targets: str) -> GamePart:
    basis = session.basis(selection)
    found = session.all_findings(selection) if basis.runs else []
    # A question that this game cannot answer is no finding.
    findings = [finding for finding in found if not finding.id.endswith(".none")]
    given = _read(targets, selection.game)
    if given is not None and basis.runs:
        kept_out = [finding for finding in findings if finding.question != progress.QUESTION]
        findings = [*kept_out, *progress.find(session.reader, selection, given)]
    proposals, none = proposed(selection) if proposed is not None and basis.runs else ((), "")
    kept = session.kept_targets(selection.game)
    wishes = given or (kept.read_or_none if kept else None)
    wanted = wishes.targets if wishes is not None else ()
    builds = _builds(session, selection)
    parts = read_kind(session.reader, selection).parts
    newest = builds[-1].label if builds else ""
    return GamePart(
        selection=selection,
        basis=basis,
        people=session.reader.ask_chosen("chosen_people", selection),
        settings=session.ask("game_settings", game=selection.game),
        targets=kept,
        findings=tuple(findings),
        proposals=tuple(proposals),
        no_proposal=none,
        given_targets=targets if given is not None else "",
        flashing=cautions.flashing(session, selection.game)[0],
        builds=builds,
        wishes=wishes,
        standings=standings(session.reader, selection, wanted, newest, proposals) if newest else (),
        evidence=chosen(findings, wanted, parts),
        first_runs=session.first_runs(selection.game, proposals[0].build) if proposals else ({}, ""),
    )


def _read(text: str, game: str) -> TargetSet | None:
    """What a targets file says, if it can be read and is about this game."""
    wishes = KeptTargets(text, "").read_or_none if text else None
    return wishes if wishes is not None and wishes.game in (None, game) else None


def _builds(session: Session, selection: Selection) -> tuple[BuildPlayed, ...]:
    """The builds played, the first one first: those chosen and, for before and after, those that were not."""
    played = session.ask("builds_played", game=selection.game, include_team=False)
    found = []
    for label in session.ask("game_builds", game=selection.game)["build"]:
        people = session.reader.ask_chosen("chosen_people", replace(selection.of_every_build(), builds=(label,)))
        if not people["runs"][0]:
            continue
        at = np.asarray(played["played_us"], float)[np.asarray(played["build"]) == label]
        at = np.sort(at[np.isfinite(at)])
        days = dict.fromkeys(f"{datetime.fromtimestamp(one / 1e6, UTC):%Y-%m-%d}" for one in (*at[:1], *at[-1:]))
        found.append(BuildPlayed(label, {name: float(column[0]) for name, column in people.items()}, tuple(days)))
    return tuple(found)
