"""Proposals in the report: what to change, what it is expected to do, and how sure that is."""

from typing import Any

from analysis.tuning.proposal import Proposal
from analysis.words import amount, cell, counted


def changed(proposal: Proposal) -> dict[str, list[Any]]:
    """The table of what to change, by columns."""
    changes = proposal.changes
    return {
        "tunable": [change.tunable for change in changes],
        "now": [change.now for change in changes],
        "proposed": [change.proposed for change in changes],
        "unit": [change.unit for change in changes],
        "range": [f"{change.low} to {change.high}, steps of {change.step}" for change in changes],
    }


def predicted(proposal: Proposal) -> dict[str, list[Any]]:
    """The table of each target, by columns: wanted, observed, predicted."""
    targets = proposal.targets
    return {
        "target": [t.target for t in targets],
        "wanted": [amount(t.wanted, t.unit) for t in targets],
        "observed": [f"{amount(t.observed, t.unit)} (n = {t.observed_players})" for t in targets],
        "predicted, no change": [prediction(t.now, t.unit) for t in targets],
        "predicted, as proposed": [prediction(t.proposed, t.unit) for t in targets],
    }


def chances(proposal: Proposal) -> str:
    """How sure it is, and what carries it."""
    return (
        f"Chance of being better than no change {cell(round(proposal.chance_better, 2))}; chance that every target is "
        f"met within its tolerance {cell(round(proposal.chance_close, 2))}. {counted(proposal.players, 'player')}, "
        f"{counted(proposal.runs, 'run')}, {counted(round(proposal.effective_draws), 'effective draw')}."
    )


def prediction(one: Any, unit: str) -> str:
    """ "58 % (46 % to 69 %)"."""
    return f"{amount(one.value, unit)} ({amount(one.low80, unit)} to {amount(one.high80, unit)})"
