"""Were the deaths fair? Called by deaths.py. All shares are of deaths, by player.

deaths.fairness  ages: age_ms (one row a death with a known killing shot), life_id, player; bands: band,
from_ms, to_ms,
                 deaths. facts: deaths (whose shot is known), all_deaths, nobody_reacts_ms, simple_reaction_ms, source.
deaths.still     deaths: life_id, run_id, life, player, x, y, aimed_shots (those standing still under aimed fire).
deaths.respawn   deaths: life_id, run_id, life, player, alive_s (those within a second of respawn).
deaths.again     deaths: life_id, run_id, life, player, x, y (those where the same run's death before was).
                 facts: reach_px, longest (the most deaths of one run in a row at one place).
"""

import numpy as np

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.stats.fairness import (
    NOBODY_REACTS_MS,
    SIMPLE_REACTION_MS,
    longest_repeat,
    notice_bands,
    repeated_place,
)
from analysis.stats.proportions import share_by_player
from analysis.words import amount, counted, limits, percent

# Standing still: within so many pixels through the last second, seen at least three times.
STILL_PX, STILL_US, STILL_SAMPLES = 2, 1_000_000, 3
RESPAWN_S = 1.0
# One place: within a twelfth of the screen's width.
PLACES_ACROSS = 12


def find(
    reader: Reader, selection: Selection, death: Columns, basis: Basis, screen_width: int
) -> list[Finding]:
    """The findings that the log allows; deaths without the fields a question needs leave it out."""
    found = []
    if np.isfinite(death["shot_ago_us"]).any():
        found.append(_fairness(death, basis))
    if {"position", "enemy_shot"} <= basis.roles:
        found.append(_still(death, reader.ask_chosen("last_seconds", selection, before_us=STILL_US), basis))
    if np.any(_respawned(death)):
        found.append(_respawn(death, basis))
    if np.isfinite(death["x"]).any() and np.any(death["life"] > 1):
        found.append(_again(death, basis, screen_width / PLACES_ACROSS))
    return found


def _share(mine: np.ndarray, player: np.ndarray) -> Estimate:
    share = share_by_player(mine, np.ones(mine.size), player.astype(str))
    return share


def _fairness(death: Columns, basis: Basis) -> Finding:
    known = np.isfinite(death["shot_ago_us"])
    age = death["shot_ago_us"][known] / 1e3
    bands = notice_bands(age)
    estimate = _share(age < SIMPLE_REACTION_MS, death["player"][known])
    edges = (0.0, NOBODY_REACTS_MS, SIMPLE_REACTION_MS, np.nan)
    table = {
        "band": ["nobody reacts so fast", "hardly anybody reacts so fast", "time to react"],
        "from_ms": list(edges[:-1]), "to_ms": list(edges[1:]), "deaths": [bands.nobody, bands.hardly, bands.enough],
    }  # fmt: skip
    deaths = counted(age.size, "death") + ("" if known.all() else f" whose shot is known (of {known.size})")
    sentence = (
        f"In {percent(estimate.value)} of {deaths} {limits(estimate)} the killing shot was "
        f"younger than a simple human reaction takes ({SIMPLE_REACTION_MS:.0f} ms); {bands.nobody} of these were under "
        f"{NOBODY_REACTS_MS:.0f} ms, faster than anybody reacts. Half of the shots were younger than "
        f"{amount(float(np.median(age)), 'ms')}."
    )
    return Finding(
        id="deaths.fairness", question="deaths", title="Time to react to the killing shot", sentence=sentence,
        players=basis.players, runs=basis.runs, method="reaction_time", estimate=estimate, warnings=basis.warnings,
        tables={"ages": {"age_ms": age, "life_id": death["life_id"][known], "player": death["player"][known]},
                "bands": table},
        facts={"nobody_reacts_ms": NOBODY_REACTS_MS, "simple_reaction_ms": SIMPLE_REACTION_MS,
               "deaths": int(age.size), "all_deaths": int(known.size),
               "source": "Woods et al. 2015, Front. Hum. Neurosci. 9:131 (figures from memory)"},
    )  # fmt: skip


def _still(death: Columns, last: Columns, basis: Basis) -> Finding:
    order = np.searchsorted(last["life_id"], death["life_id"])
    seen = {name: column[order] for name, column in last.items()}
    watched = seen["samples"] >= STILL_SAMPLES
    with np.errstate(invalid="ignore"):
        still = watched & (seen["x_spread"] <= STILL_PX) & (seen["y_spread"] <= STILL_PX)
    mine = still & (seen["aimed_shots"] > 0)
    estimate = _share(mine[watched], death["player"][watched])
    sentence = (
        f"In {percent(estimate.value)} of {counted(int(watched.sum()), 'death')} {limits(estimate)} the player had "
        f"stood still for a second while an enemy took aim; in {int(np.sum(still & ~mine))} more nobody aimed."
        if watched.any()
        else "Positions are logged too seldom (under three a second) to tell whether players stood still."
    )
    table = {name: death[name][mine] for name in ("life_id", "run_id", "life", "player", "x", "y")}
    return Finding(
        id="deaths.still", question="deaths", title="Standing still under aimed fire", sentence=sentence,
        players=basis.players, runs=basis.runs, method="share_by_player", estimate=estimate if watched.any() else None,
        warnings=basis.warnings, tables={"deaths": table | {"aimed_shots": seen["aimed_shots"][mine]}},
    )  # fmt: skip


def _respawned(death: Columns) -> np.ndarray:
    """Which deaths followed a respawn whose moment is known: not where it was lost."""
    return (death["life"] > 1) & (death["inferred"] == 0)


def _respawn(death: Columns, basis: Basis) -> Finding:
    again = _respawned(death)
    alive_s = death["alive_us"] / 1e6
    mine = again & (alive_s < RESPAWN_S)
    estimate = _share(mine[again], death["player"][again])
    sentence = (
        f"{percent(estimate.value)} of the {counted(int(again.sum()), 'death')} after a first one {limits(estimate)} "
        f"came within {amount(RESPAWN_S, 's')} of respawning."
    )
    table = {name: death[name][mine] for name in ("life_id", "run_id", "life", "player")} | {
        "alive_s": alive_s[mine]
    }
    return Finding(
        id="deaths.respawn", question="deaths", title="Killed on respawn", sentence=sentence, players=basis.players,
        runs=basis.runs, method="share_by_player", estimate=estimate, warnings=basis.warnings,
        tables={"deaths": table},
    )  # fmt: skip


def _again(death: Columns, basis: Basis, reach_px: float) -> Finding:
    follows = death["life"] > 1
    mine = repeated_place(death["run_id"], death["x"], death["y"], reach_px)
    estimate = _share(mine[follows], death["player"][follows])
    longest = longest_repeat(mine)
    sentence = (
        f"{percent(estimate.value)} of the {counted(int(follows.sum()), 'death')} that followed another in a run "
        f"{limits(estimate)} were within {reach_px:.0f} pixels of it; the longest series at one place was {longest}."
    )
    table = {name: death[name][mine] for name in ("life_id", "run_id", "life", "player", "x", "y")}
    return Finding(
        id="deaths.again", question="deaths", title="Dying at the same place again", sentence=sentence,
        players=basis.players, runs=basis.runs, method="share_by_player", estimate=estimate, warnings=basis.warnings,
        tables={"deaths": table}, facts={"reach_px": reach_px, "longest": longest},
    )  # fmt: skip
