"""What raises the risk of dying, each with the others held fixed. Called by survival.py.

Only the better players come to the later parts, and they make more attempts: between players those would look safe.
To which part a player comes hangs on the deaths before: with a level fitted to each player the last would look deadly.
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
from analysis.stats.estimate import LEVEL
from analysis.stats.players.log_rate_ratio import LogRateRatio
from analysis.stats.players.parts import slopes_on_parts
from analysis.words import amount, limits

RISKS = Declared(
    "survival.risks",
    "survival",
    "What raises the risk",
    "slope_on_part",
    {
        "factors": (
            Column("factor", "", "what differs: boss, stage, tier or attempt"),
            Column("unit", "", "what one more of it is, in words"),
            *estimate_columns(
                "ratio", "times", "how many times the risk of dying, in deaths a second alive, with one more"
            ),
        )
    },
)
_DEATHS_A_FACTOR = 10


def find(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    """One finding; none where too few died, nothing varied, or the data do not tell the factors apart."""
    stretch = reader.ask_chosen("life_spells", selection)
    known = (stretch["end_s"] > stretch["entry_s"]) & np.isfinite(stretch["stage"])
    stretch = stretch.where(known)
    deaths = int(np.sum(stretch["died"] == 1))
    factors = _factors(stretch)
    players = int(np.unique(stretch["player"]).size)
    if not factors or deaths < _DEATHS_A_FACTOR * len(factors) or players < 3:
        return []
    values = np.column_stack([x for _, x in factors.values()])
    found = _slopes(stretch, values)
    if found is None:
        return []
    ratios = [one.ratio for one in found]
    rows: dict[str, list[Any]] = {
        "factor": list(factors),
        "unit": [unit for unit, _ in factors.values()],
        "ratio": [one.value for one in ratios],
        "low": [one.low for one in ratios],
        "high": [one.high for one in ratios],
    }
    # The factor told most surely from no effect leads.
    lead = int(np.argmax([_surely(one) for one in found]))
    estimate = ratios[lead]
    others = ", the others alike" if len(factors) > 1 else ""
    # The strongest of several is as strong by chance more often than one chosen beforehand.
    held = _slopes(stretch, values, 1 - (1 - LEVEL) / len(factors)) if found[lead].excludes(0) else None
    picked = held is not None and not held[lead].excludes(0)
    chance = f"; as the strongest of {len(factors)} looked at, it may be chance" if picked else ""
    sentence = (
        f"With {rows['unit'][lead]} the same player's risk of dying is {amount(estimate.value)} times as high "
        f"{limits(estimate)}{others}{chance}."
    )
    return [RISKS.finding(basis, sentence, estimate, {"factors": rows})]


def _slopes(stretch: Columns, factors: np.ndarray, level: float = LEVEL) -> list[LogRateRatio] | None:
    """Of each factor. An easier build that is played later is no learning, so that each build has a rate of its own."""
    alive_s = stretch["end_s"] - stretch["entry_s"]
    return slopes_on_parts(stretch["died"] == 1, alive_s, factors, stretch["player"], stretch["build"], level)


def _surely(slope: LogRateRatio) -> float:
    """How many margins of error it is from no effect."""
    return 0.0 if slope.high is None else abs(slope.value) / (slope.high - slope.value)


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
