"""What a report holds, gathered once: words of its authors, findings, targets, proposals, methods."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from importlib.metadata import version
from typing import Any

from analysis.finding import Finding
from analysis.findings.questions import Chapter, in_chapter
from analysis.methods import METHODS, Method, Source
from analysis.reader import Columns
from analysis.selection import Selection
from analysis.tuning.proposal import Proposal
from dashboard.parts import cautions
from dashboard.report.exports import sources
from dashboard.state.dashboard_session import Basis, Session
from dashboard.state.stage_pictures import StagePictures


@dataclass(frozen=True)
class About:
    """What only people know of their playtest. An empty text is shown as a gap to be filled."""

    title: str = ""
    authors: str = ""
    question: str = ""
    playtest: str = ""
    consent: str = ""


@dataclass(frozen=True)
class GamePart:
    """One game of the report."""

    selection: Selection
    basis: Basis
    people: Columns
    settings: Columns
    targets: Columns
    findings: tuple[Finding, ...]
    proposals: tuple[Proposal, ...] = ()
    given_targets: str = ""
    no_proposal: str = ""
    flashing: str = ""

    def in_chapter(self, chapter: str) -> tuple[Finding, ...]:
        """The findings on the questions of one chapter, in their order."""
        questions = {question.id for question in in_chapter(Chapter(chapter))}
        return tuple(finding for finding in self.findings if finding.question in questions)


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
        """The methods used, each once."""
        keys = [finding.method for finding in self.findings]
        keys += [proposal.method for game in self.games for proposal in game.proposals]
        return {key: METHODS[key] for key in dict.fromkeys(keys) if key in METHODS}

    @property
    def sources(self) -> list[Source]:
        """The publications that the methods cite, each once."""
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
    parts = []
    for selection in selections:
        basis = session.basis(selection)
        found = session.all_findings(selection) if basis.runs else []
        # A question that this game cannot answer is no finding.
        findings = [finding for finding in found if not finding.id.endswith(".none")]
        proposals, none = proposed(selection) if proposed is not None and basis.runs else ((), "")
        parts.append(
            GamePart(
                selection=selection,
                basis=basis,
                people=session.reader.ask_chosen("chosen_people", selection),
                settings=session.ask("game_settings", game=selection.game),
                targets=session.ask("game_targets", game=selection.game),
                findings=tuple(findings),
                proposals=tuple(proposals),
                no_proposal=none,
                given_targets=targets if proposals else "",
                flashing=cautions.flashing(session, selection.game)[0],
            )
        )
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
