"""Proposals in the report: what to change, what it is expected to do, and how sure that is."""

from markupsafe import Markup

from analysis.words import amount, capital, cell, counted
from dashboard.report.content import GamePart
from dashboard.report.markup import listed, tag, text
from dashboard.web.tables import table


def proposal_part(game: GamePart, count: object, named: bool) -> Markup:
    """The proposals on one game, or why there are none."""
    parts: list[Markup] = [tag("h3", game.selection.game)] if named else []
    if not game.proposals:
        parts.append(
            tag("p", game.no_proposal or "No proposal was asked for: set a target first.", class_="small")
        )
    for rank, proposal in enumerate(game.proposals, 1):
        parts.append(
            tag(
                "article",
                tag("h4", f"Proposal {rank}"),
                tag("p", capital(proposal.sentence)),
                [tag("p", warning, class_="warning") for warning in proposal.warnings],
                _changes(proposal, count),
                _targets(proposal, count),
                tag(
                    "p",
                    f"Chance of being better than no change {cell(round(proposal.chance_better, 2))}; "
                    "chance that every target is "
                    f"met within its tolerance {cell(round(proposal.chance_close, 2))}. "
                    f"{counted(proposal.players, 'player')}, {counted(proposal.runs, 'run')}, "
                    f"{counted(round(proposal.effective_draws), 'effective draw')}.",
                    class_="small",
                ),
                tag("p", f"What would settle it: {proposal.settles_it}.") if proposal.settles_it else None,
                listed(proposal.assumptions) if proposal.assumptions else None,
            )
        )
    return text(parts)


def _changes(proposal: object, count: object) -> Markup | None:
    changes = proposal.changes  # type: ignore[attr-defined]
    if not changes:
        return None
    columns = {
        "tunable": [change.tunable for change in changes],
        "now": [change.now for change in changes],
        "proposed": [change.proposed for change in changes],
        "unit": [change.unit for change in changes],
        "range": [f"{change.low} to {change.high}, steps of {change.step}" for change in changes],
    }
    return table(columns, f"{count.table()}. The change.")  # type: ignore[attr-defined]


def _targets(proposal: object, count: object) -> Markup | None:
    targets = proposal.targets  # type: ignore[attr-defined]
    if not targets:
        return None
    columns = {
        "target": [t.target for t in targets],
        "wanted": [amount(t.wanted, t.unit) for t in targets],
        "observed": [f"{amount(t.observed, t.unit)} (n = {t.observed_players})" for t in targets],
        "predicted, no change": [prediction(t.now, t.unit) for t in targets],
        "predicted, as proposed": [prediction(t.proposed, t.unit) for t in targets],
    }
    return table(columns, f"{count.table()}. Predicted, with 80 % intervals.")  # type: ignore[attr-defined]


def prediction(one: object, unit: str) -> str:
    """ "58 % (46 % to 69 %)"."""
    p = one
    return f"{amount(p.value, unit)} ({amount(p.low80, unit)} to {amount(p.high80, unit)})"  # type: ignore[attr-defined]
