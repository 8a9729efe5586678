"""What raises the risk of dying, everything else alike. Called by survival.py.

Levels are left to genres.levels: they rise with time itself, so that at one time only better players are at a higher
one.
"""

from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.declared import Column, Declared, interval_columns
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.estimate import LEVEL, Estimate
from analysis.stats.recurrent import cox
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
            Column("ratio", "times", "hazard ratio: how many times as high the risk of dying is with one more"),
            *interval_columns("times", "the ratio"),
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
    fit = cox(
        stretch["entry_s"],
        stretch["end_s"],
        stretch["died"] == 1,
        np.column_stack([x for _, x in factors.values()]),
        stretch["player"],
        # Each build has a danger of its own: an easier one that is played later is no learning.
        stretch["build"].astype(str),
    )
    if not fit.converged:
        return []
    low, high = fit.interval()
    rows: dict[str, list[Any]] = {
        "factor": list(factors),
        "unit": [unit for unit, _ in factors.values()],
        "ratio": np.exp(fit.coefficient).tolist(),
        "low": np.exp(low).tolist(),
        "high": np.exp(high).tolist(),
    }
    # The factor told most surely from no effect leads.
    lead = int(np.argmax(np.abs(fit.coefficient) / np.maximum(fit.robust, 1e-12)))
    estimate = Estimate(rows["ratio"][lead], rows["low"][lead], rows["high"][lead], unit="times")
    others = "the others alike" if len(factors) > 1 else "nothing else taken into account"
    # The strongest of several is as strong by chance more often than one chosen beforehand.
    held_low, held_high = fit.interval(1 - (1 - LEVEL) / len(factors))
    picked = held_low[lead] <= 0 <= held_high[lead] and not low[lead] <= 0 <= high[lead]
    sentence = (
        f"With {rows['unit'][lead]} the risk of dying is {amount(estimate.value)} times as high {limits(estimate)}, "
        f"{others}{f'; as the strongest of {len(factors)} looked at, it may be chance' if picked else ''}."
    )
    return [RISKS.finding(basis, sentence, estimate, {"factors": rows})]


def _factors(stretch: Columns) -> dict[str, tuple[str, np.ndarray]]:
    """Factor -> (what one unit of it is, its value in each stretch), those that vary and are known
    everywhere.
    """
    all_factors = {
        "boss": ("a boss instead of a regular part", stretch["stage_kind"]),
        "stage": ("one stage more", stretch["stage"]),
        "tier": ("one tier more", stretch["tier"]),
        "attempt": ("twice the attempts", np.log2(stretch["attempt"].astype(float))),
    }
    return {
        name: (unit, x) for name, (unit, x) in all_factors.items() if x.size and np.isfinite(x).all() and np.ptp(x) > 0
    }
