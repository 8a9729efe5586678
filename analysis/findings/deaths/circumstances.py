"""How deaths came about: whether the killing shot left time to react, and what else was the matter."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.declared import Column, Declared, estimate_cells, estimate_columns
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.stats.fairness import (
    NOBODY_REACTS_MS,
    SIMPLE_REACTION_MS,
    longest_repeat,
    near_by_chance,
    notice_bands,
    repeated_place,
)
from analysis.stats.players.within_player import mean_of_players
from analysis.stats.proportions import Share, share_by_player
from analysis.words import amount, counted, limits, percent

Array = np.ndarray
# Standing still: within so many pixels through the last second, seen at least three times.
STILL_PX, STILL_US, STILL_SAMPLES = 2, 1_000_000, 3
RESPAWN_S = 1.0
# One place: within a twelfth of the screen's width.
PLACES_ACROSS = 12
RESPAWN, AGAIN, STILL = "soon after a respawn", "at the same place again", "standing still under aimed fire"

FAIRNESS = Declared(
    "deaths.fairness",
    "deaths",
    "Time to react to the killing shot",
    "reaction_time",
    {
        "ages": (
            Column("age_ms", "ms", "how long before the death the killing shot was fired"),
            Column("life_id", "", "the life that it ended"),
            Column("player", "", "who died"),
        ),
        "bands": (
            Column("band", "", "what a person can do in that time"),
            Column("from_ms", "ms", "the youngest shots in it"),
            Column("to_ms", "ms", "shots in it are younger"),
            Column("deaths", "", "deaths in it"),
        ),
    },
    (
        Column("nobody_reacts_ms", "ms", "under it nobody reacts"),
        Column("simple_reaction_ms", "ms", "what a simple reaction takes"),
        Column("deaths", "", "deaths whose killing shot is known"),
        Column("all_deaths", "", "all deaths"),
        Column("source", "", "where the times come from"),
    ),
)
CIRCUMSTANCES = Declared(
    "deaths.circumstances",
    "deaths",
    "After a respawn, at the same place again, standing still",
    "share_by_player",
    {
        "circumstances": (
            Column("circumstance", "", "what was the matter"),
            Column("deaths", "", "deaths of which that is so"),
            Column("of", "", "deaths of which it can be told; 0 where positions are logged too seldom"),
            *estimate_columns("share", "share", "deaths over those"),
            Column("players", "", "players whose deaths those are"),
        ),
        "deaths": (
            Column("circumstance", "", "a death of which several are so has several rows"),
            Column("life_id", "", "the life that ended"),
            Column("run_id", "", "the run it is of"),
            Column("life", "", "its number in the run"),
            Column("player", "", "who died"),
            Column("x", "px", "from the left"),
            Column("y", "px", "from the top"),
            Column("alive_s", "s", "how long the life had lasted"),
        ),
    },
    (
        Column("respawn_s", "s", "what counts as soon after a respawn"),
        Column("reach_px", "px", "what counts as the same place as the death before"),
        Column("longest", "", "the most deaths of one run in a row at one place"),
        Column("again_expected", "share", "of other players' deaths in the part, those as near to the death before"),
        *estimate_columns(
            "again_more", "points", "a player's own share beyond that, mean of the players", "again_more_"
        ),
        Column("still_px", "px", "who moved no further in the last second stood still"),
    ),
)


def find(reader: Reader, selection: Selection, death: Columns, basis: Basis) -> list[Finding]:
    """The findings that the log allows; deaths without the fields a question needs leave it out."""
    found = []
    if np.isfinite(death["shot_ago_us"]).any():
        found.append(_fairness(death, basis))
    width = int(reader.ask_chosen("screen", selection)["width"][0])
    circumstances = _circumstances(reader, selection, death, basis, width / PLACES_ACROSS)
    return found + ([circumstances] if circumstances else [])


def _fairness(death: Columns, basis: Basis) -> Finding:
    known = np.isfinite(death["shot_ago_us"])
    age, player = death["shot_ago_us"][known] / 1e3, death["player"][known]
    bands = notice_bands(age)
    estimate = share_by_player(age < SIMPLE_REACTION_MS, np.ones(age.size), player)
    edges = (0.0, NOBODY_REACTS_MS, SIMPLE_REACTION_MS, np.nan)
    tables = {
        "ages": {"age_ms": age, "life_id": death["life_id"][known], "player": death["player"][known]},
        "bands": {
            "band": ["nobody reacts so fast", "hardly anybody reacts so fast", "time to react"],
            "from_ms": edges[:-1],
            "to_ms": edges[1:],
            "deaths": [bands.nobody, bands.hardly, bands.enough],
        },
    }
    deaths = counted(age.size, "death") + ("" if known.all() else f" whose shot is known (of {known.size})")
    sentence = (
        f"In {percent(estimate.value)} of {deaths} {limits(estimate)} the killing shot was "
        f"younger than a simple human reaction takes ({SIMPLE_REACTION_MS:.0f} ms); {bands.nobody} of these were under "
        f"{NOBODY_REACTS_MS:.0f} ms, faster than anybody reacts. Half of the shots were at most "
        f"{amount(float(np.median(age)), 'ms')} old."
    )
    facts = {
        "nobody_reacts_ms": NOBODY_REACTS_MS,
        "simple_reaction_ms": SIMPLE_REACTION_MS,
        "deaths": int(age.size),
        "all_deaths": int(known.size),
        "source": "Woods et al. 2015, Front. Hum. Neurosci. 9:131 (figures from memory)",
    }
    return FAIRNESS.finding(basis, sentence, estimate, tables, facts)


@dataclass(frozen=True)
class _Circumstance:
    """One of them. mine: (deaths,) bool, of which it is so; told: of which the log tells.

    which, words: which deaths are told of, and what is said of those of which it is so. untold: what is said where the
    log tells of none.
    """

    name: str
    mine: Array
    told: Array
    which: str
    words: str
    untold: str = ""

    def share(self, player: Array) -> Share:
        return share_by_player(self.mine[self.told], np.ones(int(self.told.sum())), player[self.told])


def _circumstances(
    reader: Reader, selection: Selection, death: Columns, basis: Basis, reach_px: float
) -> Finding | None:
    """The circumstances that the log tells of; None where it tells of none."""
    follows = death["life"] > 1
    again = repeated_place(death["run_id"], death["x"], death["y"], reach_px)
    longest = longest_repeat(again)
    beyond = _beyond_chance(death, again, reach_px)
    found = [_soon(death, follows)] if np.any(follows & (death["inferred"] == 0)) else []
    if np.isfinite(death["x"]).any() and follows.any():
        words = f"were within {reach_px:.0f} pixels of it; {_beyond(beyond)}"
        words += f"; the longest series at one place was {longest}"
        found.append(_Circumstance(AGAIN, again, follows, "that followed another in a run", words))
    if {"position", "enemy_shot"} <= basis.roles:
        last = reader.ask_chosen("last_seconds", selection, before_us=STILL_US)
        found += [_still(death, last)] if np.any(last["aim_logged"]) else []
    if not found:
        return None
    player = death["player"]
    shares = [one.share(player) for one in found]
    rows = [
        {
            "circumstance": one.name,
            "deaths": int(one.mine.sum()),
            "of": share.trials,
            **estimate_cells("share", share),
            "players": int(np.unique(player[one.mine]).size),
        }
        for one, share in zip(found, shares, strict=True)
    ]
    sentence = " ".join(_said(one, share) for one, share in zip(found, shares, strict=True))
    facts = {
        "respawn_s": RESPAWN_S,
        "reach_px": reach_px,
        "longest": longest,
        "still_px": STILL_PX,
        "again_expected": beyond.expected,
        **estimate_cells("again_more", beyond.more, "again_more_"),
    }
    tables = {"circumstances": rows, "deaths": _deaths(death, found)}
    return CIRCUMSTANCES.finding(basis, sentence, tables=tables, facts=facts)


@dataclass(frozen=True)
class _Beyond:
    """Deaths at the place of the one before. expected: share of other players' deaths as near to it, mean of players;
    more: by how much a player's own share is beyond that, in points; None where nobody else died in those parts.
    """

    expected: float | None
    more: Estimate


def _beyond_chance(death: Columns, again: Array, reach_px: float) -> _Beyond:
    part = np.nan_to_num(2 * death["stage"].astype(float) + (death["stage_kind"] == 1), nan=-1.0)
    chance = near_by_chance(death["run_id"], death["player"], part, death["x"], death["y"], reach_px)
    known = np.isfinite(chance)
    if not known.any():
        return _Beyond(None, Estimate(None, unit="points"))
    own = pd.DataFrame({"again": again[known], "chance": chance[known]}).groupby(death["player"][known]).mean()
    more = mean_of_players(100 * (own["again"] - own["chance"]).to_numpy())
    return _Beyond(float(own["chance"].mean()), more.in_unit("points"))


def _beyond(found: _Beyond) -> str:
    """More than where other players die is what has to do with the death before; the rest is a deadly place."""
    if found.expected is None:
        return "nothing says how many of these are chance, for nobody else died in those parts of the game"
    said = f"of other players' deaths in the same part {percent(found.expected)} are as near"
    more = found.more
    if more.value is None or more.low is None or more.low <= 0:
        return f"{said}, so no more than chance is shown"
    return f"{said}, so it is {amount(more.value, 'points')} more than chance, player by player {limits(more)}"


def _said(one: _Circumstance, share: Share) -> str:
    if share.value is None:
        return one.untold
    deaths = f"{counted(share.trials, 'death')} {one.which}".rstrip()
    return f"{percent(share.value)} of the {deaths} {limits(share)} {one.words}."


def _soon(death: Columns, follows: Array) -> _Circumstance:
    # Where the moment of the respawn was lost, nobody knows how soon after it the death came.
    respawned = follows & (death["inferred"] == 0)
    soon = respawned & (death["alive_us"] < RESPAWN_S * 1e6)
    words = f"came within {amount(RESPAWN_S, 's')} of respawning"
    return _Circumstance(RESPAWN, soon, respawned, "after a first one", words)


def _still(death: Columns, last: Columns) -> _Circumstance:
    """last: what happened in the last second before each death."""
    order = np.searchsorted(last["life_id"], death["life_id"])
    seen = last.where(order)
    # Who has not lived for so long has not stood still for so long.
    long_enough = death["alive_us"] >= STILL_US
    watched = (seen["samples"] >= STILL_SAMPLES) & long_enough
    with np.errstate(invalid="ignore"):
        still = watched & (seen["x_spread"] <= STILL_PX) & (seen["y_spread"] <= STILL_PX)
    mine = still & (seen["aimed_shots"] > 0)
    more = int(np.sum(still & ~mine))
    words = f"came after a second of standing still while an enemy took aim, {more} more while nobody aimed"
    untold = "No life lasted for a second, as it takes to tell whether players stood still."
    if long_enough.any():
        untold = "Positions are logged too seldom (under three a second) to tell whether players stood still."
    return _Circumstance(STILL, mine, watched, "", words, untold)


def _deaths(death: Columns, found: list[_Circumstance]) -> dict[str, Array]:
    """One row for each death and circumstance."""
    which = np.concatenate([np.zeros(0, int), *(np.flatnonzero(one.mine) for one in found)])
    names = np.repeat([one.name for one in found], [int(one.mine.sum()) for one in found])
    told = {name: death[name][which] for name in ("life_id", "run_id", "life", "player", "x", "y")}
    return {"circumstance": names} | told | {"alive_s": death["alive_us"][which] / 1e6}
