"""From a place on the death map to its deaths, and from a death to the seconds before it.

`deaths.one` is asked for by name, so it is not among the findings on a question.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings.deaths.screen_cells import place_words
from analysis.findings.declared import Column, Declared, Size
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.fairness import NOBODY_REACTS_MS, SIMPLE_REACTION_MS, path_px
from analysis.stats.places import Cells
from analysis.words import amount, cause_name, counted, stage_name

SECONDS = 5.0
MOST_LISTED = 50
# Three samples are the least that tell a way from a jump.
_LEAST_SAMPLES = 3
_SHORT_S = 1.0
ONE = Declared(
    "deaths.one",
    "deaths",
    f"The last {SECONDS:.0f} seconds before one death",
    "last_seconds",
    {
        "events": (
            Column(
                "what",
                "",
                "position, shot, enemy_shot, hit, pickup, input, press, note, landed, rows, slow_frame or death",
            ),
            Column("before_s", "s", "when, negative before the death"),
            Column("x", "px", "from the left; none where the event has no place"),
            Column("y", "px", "from the top"),
            Column("value", "", "aimed, tier, raw input, piece, rows, duration or cause, as `what` says"),
            Column("lane", "", "the lane or button"),
        )
    },
    (
        Column("run_id", "", "the run"),
        Column("life", "", "the number of the life in it"),
        Column("player", "", "who died"),
        Column("build", "", "the build that was played"),
        Column("attempt", "", "which of the player's attempts it was"),
        Column("stage", "", "the part of the game in words; empty where unknown"),
        Column("cause", "", "the cause in words; empty where unknown"),
        Column("run_s", "s", "when the death was, from the start of the run"),
        Column("alive_s", "s", "how long the life had lasted"),
        Column("seconds", "s", "how far back the events go"),
        Column("spawn_s", "s", "when the life began, negative"),
        Column("shot_s", "s", "when the killing shot was fired, negative; none where the log does not say"),
        Column("moved_px", "px", "how far the player moved from `moved_since_s` on; none without positions"),
        Column("moved_since_s", "s", "since the shot was fired, or for as long as positions tell; negative"),
        Column("reaction_s", "s", "what a simple reaction takes"),
        Column("screen_width", "px", "width of the screen"),
        Column("screen_height", "px", "height of the screen"),
    ),
)


@dataclass(frozen=True)
class Place:
    """One cell of the death map, in pixels."""

    x: int
    y: int
    width: int
    height: int
    deaths: int
    players: int
    hot: bool

    @property
    def words(self) -> str:
        """`x 96 to 112, y 48 to 64`."""
        return place_words(self.x, self.y, self.width, self.height)


@dataclass(frozen=True)
class DeathList:
    """Deaths in the order of their runs; `rows` holds the first of them, `deaths` and `players` count all.

    Columns of `rows`: run_id, life, player, attempt, build, stage, cause (words; "" where unknown), run_s.
    """

    place: Place | None
    deaths: int
    players: int
    rows: Columns


def places_with_deaths(whole: Finding) -> list[Place]:
    """The cells of the finding deaths.places in which anybody died: the hot ones first, then the fullest."""
    cells = whole.tables["cells"]
    order = {"hot": False, "deaths": False, "y_px": True, "x_px": True}
    died = cells[cells["deaths"] > 0].sort_values(list(order), ascending=list(order.values()))
    names = ("x_px", "y_px", "width_px", "height_px", "deaths", "players", "hot")
    columns = (died[name].tolist() for name in names)
    return [Place(*row) for row in zip(*columns, strict=True)]


def place_at(whole: Finding, x: int, y: int) -> Place | None:
    """The cell that holds a pixel, if anybody died in it."""
    places = places_with_deaths(whole)
    inside = [one for one in places if one.x <= x < one.x + one.width and one.y <= y < one.y + one.height]
    return inside[0] if inside else None


def deaths_at(
    reader: Reader, selection: Selection, whole: Finding | None = None, place: Place | None = None
) -> DeathList:
    """The deaths in one place of the map `whole`; without a place, all that were chosen."""
    death = reader.ask_chosen("deaths", selection)
    mine = np.arange(death["life_id"].size)
    if whole is not None and place is not None:
        cells = Cells(*(int(whole.facts[name]) for name in ("screen_width", "screen_height", "cell_px")))
        x, y = death["x"], death["y"]
        placed = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
        # As the map counts them: what lies off the screen belongs to the nearest cell.
        same = cells.number(x[placed], y[placed]) == cells.number(np.array([place.x]), np.array([place.y]))
        mine = placed[same]
    first = mine[:MOST_LISTED]
    rows = Columns((name, death[name][first]) for name in ("run_id", "life", "player", "attempt", "build"))
    rows["stage"] = np.array([_stage(death, i) for i in first], dtype=object)
    rows["cause"] = np.array([_cause(death, i) for i in first], dtype=object)
    rows["run_s"] = death["run_us"][first] / 1e6
    players = int(np.unique(death["player"][mine]).size)
    return DeathList(place, int(mine.size), players, rows)


def find(reader: Reader, selection: Selection, run_id: int, life: int) -> Finding | None:
    """The last seconds before the death that ended one life of a run; None where the choice holds no such death."""
    death = reader.ask_chosen("deaths", selection)
    found = np.flatnonzero((death["run_id"] == run_id) & (death["life"] == life))
    if not found.size:
        return None
    i = int(found[0])
    events = reader.ask("death_strip", life_id=int(death["life_id"][i]), before_us=int(SECONDS * 1e6))
    events["before_s"] = events.pop("before_us") / 1e6
    shot_ago_us = float(death["shot_ago_us"][i])
    shot_s = -shot_ago_us / 1e6 if np.isfinite(shot_ago_us) else None
    spawn_s = float(death["start_us"][i] - death["end_us"][i]) / 1e6
    # Between a death and the next life a player jumps, and has not moved.
    since_s = max(-SECONDS if shot_s is None else shot_s, spawn_s)
    moved_px = _moved(events, since_s)
    if moved_px is None and since_s > -_SHORT_S:
        # Too short a time for the samples: the last second has more of them.
        since_s = max(-_SHORT_S, spawn_s)
        moved_px = _moved(events, since_s)
    screen = reader.ask_chosen("screen", selection)
    facts = {
        "run_id": int(run_id),
        "life": int(life),
        "player": str(death["player"][i]),
        "build": str(death["build"][i]),
        "attempt": int(death["attempt"][i]),
        "stage": _stage(death, i),
        "cause": _cause(death, i),
        "run_s": float(death["run_us"][i]) / 1e6,
        "alive_s": float(death["alive_us"][i]) / 1e6,
        "seconds": SECONDS,
        "spawn_s": spawn_s,
        "shot_s": shot_s,
        "moved_px": moved_px,
        "moved_since_s": since_s,
        "reaction_s": SIMPLE_REACTION_MS / 1e3,
        "screen_width": int(screen["width"][0]),
        "screen_height": int(screen["height"][0]),
    }
    return ONE.finding(Size(1, 1), _sentence(events, facts), tables={"events": events}, facts=facts)


def _moved(events: Columns, since_s: float) -> float | None:
    """How long the player's way was from `since_s` to the death; None where positions do not tell."""
    here = (events["before_s"] >= since_s) & (events["before_s"] <= 0)
    seen = here & (events["what"] == "position")
    if int(seen.sum()) < _LEAST_SAMPLES:
        return None
    way = here & np.isin(events["what"], ("position", "death"))
    way &= np.isfinite(events["x"]) & np.isfinite(events["y"])
    return path_px(events["x"][way], events["y"][way])


def _sentence(events: Columns, facts: Mapping[str, Any]) -> str:
    moved = None if facts["moved_px"] is None else counted(round(facts["moved_px"]), "pixel")
    since = amount(-facts["moved_since_s"], "s")
    if facts["shot_s"] is not None:
        ago_ms = -1e3 * facts["shot_s"]
        first = f"The killing shot hit {amount(float(round(ago_ms)), 'ms')} after it was fired, {_notice(ago_ms)}"
        when = "meanwhile" if facts["moved_since_s"] == facts["shot_s"] else f"in the {since} before the death"
        first += f"; {when} {facts['player']} moved {moved}." if moved else "."
    elif moved:
        first = f"{facts['player']} moved {moved} in the last {since}; no shot that killed is logged with this death."
    else:
        first = (
            "Of this death the log tells neither where the player went nor when a killing shot was fired: the strip "
            "shows the rest."
        )
    return f"{first} {_doings(events, facts)}"


def _notice(ago_ms: float) -> str:
    simple = f"the {SIMPLE_REACTION_MS:.0f} ms that a simple human reaction takes"
    if ago_ms < NOBODY_REACTS_MS:
        return f"less than the {NOBODY_REACTS_MS:.0f} ms in which nobody reacts"
    if ago_ms < SIMPLE_REACTION_MS:
        return f"less than {simple}"
    return f"{amount(ago_ms / SIMPLE_REACTION_MS)} times {simple}"


def _doings(events: Columns, facts: Mapping[str, Any]) -> str:
    """What else stands on the strip, in a sentence of its own."""
    since_s = _watched_s(facts)
    before = (events["before_s"] < 0) & (events["before_s"] >= -since_s)
    what = events["what"][before]
    number = {name: int(np.sum(what == name)) for name in set(what.tolist())}
    aimed = int(np.sum((events["value"][before] == 1) & (what == "enemy_shot")))
    nouns = (("shot", "own shot"), ("pickup", "pick-up"), ("press", "press"), ("landed", "landed piece"))
    told = [
        counted(number[name], noun, "presses" if noun == "press" else "") for name, noun in nouns if number.get(name)
    ]
    if number.get("enemy_shot"):
        at = f" ({aimed} aimed)" if aimed else ""
        told.append(counted(number["enemy_shot"], "enemy shot") + at)
    since = f"the {amount(since_s, 's')} before the death"
    return f"In {since}: {', '.join(told)}." if told else f"No shots, pick-ups or presses were logged in {since}."


def _watched_s(facts: Mapping[str, Any]) -> float:
    """How much of the strip belongs to this life."""
    return float(min(facts["seconds"], -facts["spawn_s"]))


def _stage(death: Columns, i: int) -> str:
    stage = float(death["stage"][i])
    return stage_name(stage, float(death["stage_kind"][i])) if np.isfinite(stage) else ""


def _cause(death: Columns, i: int) -> str:
    label, cause = death["cause_label"][i], float(death["cause"][i])
    return cause_name([label], cause) if label is not None or np.isfinite(cause) else ""
