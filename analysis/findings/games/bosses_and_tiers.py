"""Staged shooters: bosses against regular parts, and what a weapon tier is worth."""

import numpy as np
import pandas as pd

from analysis.finding import TOO_FEW_PLAYERS, Finding
from analysis.findings.basis import Basis
from analysis.findings.declared import PART, Column, Declared, estimate_cells, estimate_columns
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.stats.players.log_rate_ratio import LogRateRatio
from analysis.stats.players.parts import inside_against_outside, slope_on_part
from analysis.stats.rates import Rate, rate_by_player
from analysis.words import amount, as_often, counted, limits, stage_name

Array = np.ndarray
_RATE = "deaths a minute"
BOSS = Declared(
    "genres.boss",
    "genres",
    "Bosses against regular parts",
    "slope_on_part",
    {
        "kinds": (
            Column("stage", "", "number of the stage"),
            Column("regular_rate", _RATE, "deaths over time alive in its regular part"),
            Column("boss_rate", _RATE, "the same at its boss"),
            *estimate_columns("ratio", "times", "the boss over the regular part, of the same players"),
            Column("players", "", "players it rests on"),
        )
    },
    estimate_columns("ratio", "times", "bosses over everything else, of the same players"),
)
TIERS = Declared(
    "genres.tiers",
    "genres",
    "Lives and tiers through the stages",
    "slope_on_part",
    {
        "tiers": (
            Column("tier", "", "tier of the weapon"),
            Column("alive_s", "s", "time alive with it"),
            Column("deaths", "", "deaths with it"),
            *estimate_columns("rate_per_min", _RATE, "deaths over that time"),
            Column("players", "", "players who had it"),
        ),
        "stages": (
            *PART,
            Column("lives_in", "", "lives left on entering it, mean of the visits"),
            Column("tier_in", "", "tier of the weapon on entering it, mean of the visits"),
            Column("visits", "", "how often it was entered"),
        ),
    },
    (Column("per_tier", "times", "how many times as often the same player dies with one tier more"),),
)


def find(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    """Boss against regular, and tiers, as far as they occur."""
    spell = reader.ask_chosen("tier_spells", selection)
    found = []
    if np.unique(spell["stage_kind"]).size > 1:
        found.append(_boss(spell, basis))
    tier = spell["tier"]
    if np.unique(tier[np.isfinite(tier)]).size > 1:
        found.append(_tiers(spell, reader.ask_chosen("stage_visits", selection), basis))
    return found


def _rate(spell: Columns, mine: Array) -> Rate:
    minutes, player = spell["alive_s"][mine] / 60, spell["player"][mine]
    return rate_by_player(spell["deaths"][mine], minutes, player)


def _boss(spell: Columns, basis: Basis) -> Finding:
    rows = []
    boss = spell["stage_kind"] == 1
    for stage in np.unique(spell["stage"]):
        mine = spell["stage"] == stage
        slope = _against_regular(spell.where(mine))
        own = slope.ratio if slope else Estimate(None)
        rows.append(
            {
                "stage": int(stage),
                "regular_rate": _rate(spell, mine & ~boss).value,
                "boss_rate": _rate(spell, mine & boss).value,
                **estimate_cells("ratio", own),
                "players": own.players,
            }
        )
    # Only the better players come to a boss: they are held apart.
    every = _against_regular(spell)
    estimate = every.ratio if every else None
    ratio = estimate or Estimate(None)
    sentence = (
        f"At bosses a player dies {amount(estimate.value)} times as often a minute as the same player does elsewhere "
        f"{limits(estimate)}."
        if estimate
        else "No player died both at bosses and elsewhere often enough to compare the two."
    )
    facts = estimate_cells("ratio", ratio)
    few = estimate is not None and estimate.players < TOO_FEW_PLAYERS
    if few:
        sentence = (
            f"Only {counted(ratio.players, 'player')} who died met both a boss and a regular part: too few to say "
            "whether bosses are deadlier."
        )
    headline = f"At bosses players die {as_often(estimate.value)}." if estimate else ""
    doubtful = not ratio.excludes(1)
    if few:
        headline = "Too few players met a boss to say whether it is deadlier."
    elif headline and doubtful:
        headline = "Bosses are not shown to be deadlier, or safer, than the rest."
    return BOSS.finding(
        basis, sentence, estimate, {"kinds": rows}, facts, headline=headline, doubtful=doubtful, untold=few
    )


def _against_regular(spell: Columns) -> LogRateRatio | None:
    """Bosses against the rest of the same players."""
    return inside_against_outside(spell["deaths"], spell["alive_s"], spell["stage_kind"] == 1, spell["player"])


def _tiers(spell: Columns, visit: Columns, basis: Basis) -> Finding:
    tier, player = spell["tier"], spell["player"]
    known = np.isfinite(tier)
    rows = []
    for value in np.unique(tier[known]):
        rate = _rate(spell, tier == value)
        rows.append(
            {
                "tier": int(value),
                "alive_s": 60 * rate.exposure,
                "deaths": rate.events,
                **estimate_cells("rate_per_min", rate),
                "players": rate.players,
            }
        )
    part = 2 * spell["stage"] + spell["stage_kind"]
    slope = slope_on_part(spell["deaths"][known], spell["alive_s"][known], tier[known], player[known], part[known])
    estimate = slope.ratio if slope else None
    sentence = (
        f"With one tier more a player dies {amount(estimate.value)} times as often a minute {limits(estimate)}, "
        "compared with the same player in the same part of the game."
        if estimate
        else "No player died at several tiers in one part of the game, so what a tier is worth cannot be told."
    )
    facts = {"per_tier": estimate.value if estimate else None}
    return TIERS.finding(basis, sentence, estimate, {"tiers": rows, "stages": _stages(visit)}, facts)


def _stages(visit: Columns) -> pd.DataFrame:
    """What players have on entering each part of the game."""
    frame = pd.DataFrame({name: visit[name] for name in ("stage", "stage_kind", "lives_in", "tier_in")})
    by_part = frame.groupby(["stage", "stage_kind"])
    table = by_part.mean().join(by_part.size().rename("visits")).reset_index()
    names = [stage_name(stage, kind) for stage, kind in zip(table["stage"], table["stage_kind"], strict=True)]
    return table.assign(name=names)
