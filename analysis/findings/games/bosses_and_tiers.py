"""Staged shooters: bosses against regular parts, and what a weapon tier is worth. Called by genres.py.

genres.boss   kinds: stage, regular_rate, boss_rate (deaths a minute alive), ratio (boss over regular, the
same players),
              low, high, players.  facts: ratio, low, high (all stages).
genres.tiers  tiers: tier, alive_s, deaths, rate_per_min, low, high, players; stages: stage, stage_kind, name,
lives_in,
              tier_in (means over visits), visits.  facts: per_tier (how many times as often with one tier
              more).
"""

from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.stats.learning import slope_within_players
from analysis.stats.rates import rate_by_player
from analysis.words import amount, limits, stage_name

QUESTION = "genres"


def find(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    """Boss against regular, and tiers, as far as they occur."""
    spell = reader.ask_chosen("tier_spells", selection)
    found = []
    if np.unique(spell["stage_kind"]).size > 1:
        found.append(_boss(spell, basis))
    tier = spell["tier"].astype(float)
    if np.unique(tier[np.isfinite(tier)]).size > 1:
        found.append(_tiers(spell, reader.ask_chosen("stage_visits", selection), basis))
    return found


def _rate(spell: Columns, mine: np.ndarray) -> float | None:
    return rate_by_player(
        spell["deaths"][mine], spell["alive_s"][mine] / 60, spell["player"][mine].astype(str)
    ).value


def _boss(spell: Columns, basis: Basis) -> Finding:
    names = ("stage", "regular_rate", "boss_rate", "ratio", "low", "high", "players")
    rows: dict[str, list[Any]] = {name: [] for name in names}
    player, boss = spell["player"].astype(str), spell["stage_kind"] == 1
    for stage in np.unique(spell["stage"]):
        mine = spell["stage"] == stage
        slope = slope_within_players(spell["deaths"][mine], spell["alive_s"][mine], boss[mine], player[mine])
        own = slope.ratio if slope else Estimate(None)
        values = (int(stage), _rate(spell, mine & ~boss), _rate(spell, mine & boss), own.value, own.low, own.high,
                  own.players)  # fmt: skip
        for name, value in zip(names, values, strict=True):
            rows[name].append(value)
    # Players who never came to a boss do not count: each is compared with itself.
    every = slope_within_players(spell["deaths"], spell["alive_s"], boss, player)
    estimate = every.ratio if every else None
    ratio = estimate or Estimate(None)
    facts = {"ratio": ratio.value, "low": ratio.low, "high": ratio.high}
    sentence = (
        f"At bosses a player dies {amount(estimate.value)} times as often a minute as the same player does elsewhere "
        f"{limits(estimate)}."
        if estimate
        else "No player died both at bosses and elsewhere often enough to compare the two."
    )
    return Finding(
        id="genres.boss", question=QUESTION, title="Bosses against regular parts", sentence=sentence,
        players=basis.players, runs=basis.runs, method="slope_within_players", estimate=estimate,
        warnings=basis.warnings, tables={"kinds": rows}, facts=facts,
    )  # fmt: skip


def _tiers(spell: Columns, visit: Columns, basis: Basis) -> Finding:
    tier, player = spell["tier"].astype(float), spell["player"].astype(str)
    known = np.isfinite(tier)
    rows: dict[str, list[Any]] = {}
    for value in np.unique(tier[known]):
        mine = tier == value
        rate = rate_by_player(spell["deaths"][mine], spell["alive_s"][mine] / 60, player[mine])
        row = {
            "tier": int(value), "alive_s": 60 * rate.exposure, "deaths": rate.events, "rate_per_min": rate.value,
            "low": rate.low, "high": rate.high, "players": rate.players,
        }  # fmt: skip
        for name, item in row.items():
            rows.setdefault(name, []).append(item)
    stages: dict[str, list[Any]] = {
        n: [] for n in ("stage", "stage_kind", "name", "lives_in", "tier_in", "visits")
    }
    for stage, kind in sorted(set(zip(visit["stage"].tolist(), visit["stage_kind"].tolist(), strict=True))):
        mine = (visit["stage"] == stage) & (visit["stage_kind"] == kind)
        means = [_mean(visit[name][mine]) for name in ("lives_in", "tier_in")]
        for name, item in zip(
            stages, (stage, kind, stage_name(stage, kind), *means, int(mine.sum())), strict=True
        ):
            stages[name].append(item)
    part = 2 * spell["stage"] + spell["stage_kind"]
    slope = slope_within_players(
        spell["deaths"][known], spell["alive_s"][known], tier[known], player[known], block=part[known]
    )
    estimate = slope.ratio if slope else None
    sentence = (
        f"With one tier more a player dies {amount(estimate.value)} times as often a minute {limits(estimate)}, "
        "compared with the same player in the same part of the game."
        if estimate
        else "No player died at several tiers in one part of the game, so what a tier is worth cannot be told."
    )
    return Finding(
        id="genres.tiers", question=QUESTION, title="Lives and tiers through the stages", sentence=sentence,
        players=basis.players, runs=basis.runs, method="slope_within_players", estimate=estimate,
        warnings=basis.warnings, tables={"tiers": rows, "stages": stages},
        facts={"per_tier": estimate.value if estimate else None},
    )  # fmt: skip


def _mean(column: np.ndarray) -> float | None:
    known = column[np.isfinite(column)]
    return float(known.mean()) if known.size else None
