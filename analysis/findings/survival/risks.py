"""What raises the risk of dying, each player compared with itself. Called by survival.py.

Only the better players come to the later parts, and they make more attempts: between players those would look safe.
Levels are left to genres.levels: they rise with time itself, so that at one time only better players are at a higher
one.
"""

from typing import Any

import numpy as np

from analysis.finding import TOO_FEW_PLAYERS, Finding
from analysis.findings.basis import Basis
from analysis.findings.declared import Column, Declared, estimate_columns
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.clusters import numbered
from analysis.stats.estimate import LEVEL, Estimate
from analysis.stats.lifetimes.recurrent import CoxFit, cox
from analysis.words import amount, limits

RISKS = Declared(
    "survival.risks",
    "survival",
    "What raises the risk",
    "recurrent_cox",
    {
        "factors": (
            Column("factor", "", "what differs: boss, stage, tier or attempt"),
            Column("unit", "", "what one more of it is, in words"),
            *estimate_columns("ratio", "times", "hazard ratio: how many times the risk of dying with one more"),
        )
    },
)
# The fit looks at every stretch at risk at every death: beyond this many it would take longer than a page
# may.
_MOST_STRETCHES = 4_000
_DEATHS_A_FACTOR = 10


def find(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    """One finding; none where too few died, nothing varied, or there is too much to fit on a page."""
    stretch = reader.ask_chosen("life_spells", selection)
    known = (stretch["end_s"] > stretch["entry_s"]) & np.isfinite(stretch["stage"])
    stretch = stretch.where(known)
    deaths = int(np.sum(stretch["died"] == 1))
    factors = _factors(stretch)
    players = int(np.unique(stretch["player"]).size)
    if not factors or deaths < _DEATHS_A_FACTOR * len(factors) or deaths > _MOST_STRETCHES or players < 3:
        return []
    if stretch["end_s"].size > _MOST_STRETCHES:
        return []
    fit = _fit(stretch, np.column_stack([x for _, x in factors.values()]))
    if fit is None or not fit.converged:
        return []
    low, high = fit.interval(at_least_model=True)
    rows: dict[str, list[Any]] = {
        "factor": list(factors),
        "unit": [unit for unit, _ in factors.values()],
        "ratio": np.exp(fit.coefficient).tolist(),
        "low": np.exp(low).tolist(),
        "high": np.exp(high).tolist(),
    }
    # The factor told most surely from no effect leads.
    lead = int(np.argmax(np.abs(fit.coefficient) / np.maximum(np.maximum(fit.robust, fit.error), 1e-12)))
    estimate = Estimate(rows["ratio"][lead], rows["low"][lead], rows["high"][lead], unit="times")
    others = ", the others alike" if len(factors) > 1 else ""
    # The strongest of several is as strong by chance more often than one chosen beforehand.
    held_low, held_high = fit.interval(1 - (1 - LEVEL) / len(factors), at_least_model=True)
    picked = held_low[lead] <= 0 <= held_high[lead] and not low[lead] <= 0 <= high[lead]
    chance = f"; as the strongest of {len(factors)} looked at, it may be chance" if picked else ""
    sentence = (
        f"With {rows['unit'][lead]} the same player's risk of dying is {amount(estimate.value)} times as high "
        f"{limits(estimate)}{others}{chance}."
    )
    return [RISKS.finding(basis, sentence, estimate, {"factors": rows})]


def _fit(stretch: Columns, factors: np.ndarray) -> CoxFit | None:
    """The fit in which each player has a danger of its own on each build; None with fewer than two players who died.

    An easier build that is played later is no learning, and a player who comes far no proof that it is safe there.
    """
    died, player = stretch["died"] == 1, stretch["player"]
    # Who never died is compared with nobody, and is no cluster.
    tells = np.isin(player, player[died])
    if np.unique(player[tells]).size < 2:
        return None
    own = numbered(player[tells])[1] * (np.unique(stretch["build"]).size + 1) + numbered(stretch["build"][tells])[1]
    return cox(stretch["entry_s"][tells], stretch["end_s"][tells], died[tells], factors[tells], player[tells], own)


def _factors(stretch: Columns) -> dict[str, tuple[str, np.ndarray]]:
    """Factor -> (what one unit of it is, its value in each stretch), those known everywhere that
    enough players met with more than one value.
    """
    all_factors = {
        "boss": ("a boss instead of a regular part", stretch["stage_kind"]),
        "stage": ("one stage more", stretch["stage"]),
        "tier": ("one tier more", stretch["tier"]),
        "attempt": ("twice the attempts", np.log2(stretch["attempt"].astype(float))),
    }
    return {
        name: (unit, x)
        for name, (unit, x) in all_factors.items()
        if np.isfinite(x).all() and _players_who_met(x, stretch) >= TOO_FEW_PLAYERS
    }


def _players_who_met(factor: np.ndarray, stretch: Columns) -> int:
    """How many of those who died met more than one value of the factor: only they tell what it does."""
    died = np.unique(stretch["player"][stretch["died"] == 1])
    return sum(1 for one in died if np.ptp(factor[stretch["player"] == one]) > 0)
