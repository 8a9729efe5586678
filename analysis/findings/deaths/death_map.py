"""Where on the screen players die."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.deaths import death_map_parts
from analysis.findings.deaths.screen_cells import (
    AREA,
    CELL,
    SCREEN,
    TIMES,
    is_hot,
    label_of,
    place_words,
    screen_facts,
    screen_side,
    times_columns,
    times_words,
)
from analysis.findings.deaths.seen import BANDWIDTH, Seen, highest_per_min, read_seen
from analysis.findings.declared import CAUSE, STAGE, Column, Declared
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.stats.places import Cells, HotSpots, hot_spots, rate_limits, smooth_rate
from analysis.stats.proportions import share_by_player
from analysis.words import counted, limits, percent, stage_name

Array = np.ndarray
_TITLE = "Where players die"
PLACES = Declared(
    "deaths.places",
    "deaths",
    _TITLE,
    "hot_spots",
    {
        "cells": (
            *AREA,
            Column("deaths", "", "deaths in the cell"),
            Column("players", "", "players who died there"),
            Column("seconds", "s", "time spent there; none without positions"),
            Column("rate_per_s", "deaths a second", "deaths over that time"),
            Column("rate_low", "deaths a second", "lower limit of the rate, of this cell alone"),
            Column("rate_high", "deaths a second", "upper limit of the rate, of this cell alone"),
            Column("smooth_rate", "deaths a second", "the rate around it, drawn towards that of the whole screen"),
            Column("expected_deaths", "", "deaths to be expected from each player's time there"),
            Column("expected_players", "", "players of whom a death there would be expected"),
            *TIMES,
            Column("score", "", "how far the deaths are beyond what is expected"),
            Column("p", "", "chance that any cell stands out as much; corrected for all cells"),
            Column("hot", "", "p of at most 0.05, and two players or more died there"),
        ),
        "deaths": (
            Column("life_id", "", "the life that ended"),
            Column("run_id", "", "the run it is of"),
            Column("player", "", "who died"),
            *STAGE,
            Column("cause", "", "the number of the cause in the log"),
            Column("cause_label", "", "its name"),
            Column("x", "px", "from the left"),
            Column("y", "px", "from the top"),
            Column("alive_s", "s", "how long the life had lasted"),
        ),
        "by_cause": (*CAUSE, *CELL, Column("deaths", "", "deaths of it in the cell")),
    },
    (
        *SCREEN,
        *TIMES,
        Column("exposure", "", "whether positions are logged, and so the time spent in each cell is known"),
        Column("hot_cells", "", "how many cells are hot"),
        Column("scale_per_min", "deaths a minute", "where the colours of the game's maps end; none without positions"),
        Column("hottest", "", "what kills at the strongest hot place, where one cause or part stands for most"),
    ),
)
NO_PLACE = Declared("deaths.no_place", "deaths", _TITLE, "count")


def without_place(death: Columns, basis: Basis) -> Finding:
    """Why there is no map of these deaths, and which field the game must log to get one."""
    lacking = [axis for axis in ("x", "y") if not np.isfinite(death[axis].astype(float)).any()]
    total = counted(int(death["x"].size), "death")
    if lacking:
        none = " and no ".join(f"`{axis}`" for axis in lacking)
        fields = "a field with the role" if len(lacking) == 1 else "fields with the roles"
        told = f"In {total} there is no {none}"
        what = f"{fields} {' and '.join(f'`{axis}`' for axis in lacking)}"
    else:
        told, what = f"No death of {death['x'].size} has both `x` and `y`", "fields with both roles"
    sentence = (
        f"{told}, so there is no map of where they were: give the event with the role `death` {what}, in "
        "pixels of the screen."
    )
    return NO_PLACE.finding(basis, sentence)


def find(reader: Reader, selection: Selection, death: Columns, basis: Basis) -> list[Finding]:
    """The map of deaths that have a place (one must have), then causes and stages apart."""
    seen = read_seen(reader, selection, death)
    missing = int(death["x"].size - seen.placed["x"].size)
    whole = _places(seen, missing, basis, highest_per_min(reader, selection.game))
    return [whole, *(death_map_parts.find(seen, basis) if whole.facts["exposure"] else [])]


@dataclass(frozen=True)
class _Map:
    """The table of cells, with what was worked out for it."""

    table: pd.DataFrame
    hot: HotSpots
    exposed: bool
    total: str  # deaths, in words

    @property
    def hottest(self) -> int:
        """The hot cell that stands out most."""
        return int(np.argmax(np.where(self.table["hot"], self.hot.score, -np.inf)))

    @property
    def apart(self) -> bool:
        """Whether that cell, drawn to what most places have, is beyond the time spent there."""
        return bool(self.hot.times.low[self.hottest] > 1)

    def place(self, cell: int) -> str:
        row = self.table.iloc[cell]
        return place_words(row["x_px"], row["y_px"], row["width_px"], row["height_px"])

    def took(self, cell: int) -> str:
        among = counted(int(np.isfinite(self.hot.times.value).sum()), "place")
        took = counted(int(self.table["deaths"].iloc[cell]), "death")
        players = counted(int(self.hot.players[cell]), "player")
        return f"{self.place(cell)}, took {took} of {players}, {times_words(self.hot, cell, among)}"


def _places(seen: Seen, missing: int, basis: Basis, scale: float | None) -> Finding:
    every = np.ones(seen.placed["x"].size, bool)
    count, time = seen.counts(every), seen.time(np.ones(seen.spent["player"].size, bool))
    exposed = bool(time.sum() > 0)
    # Without positions nothing says where players were: every cell somebody died in is as likely as another.
    hot = hot_spots(count, time if exposed else np.tile(count.sum(axis=0) > 0, (seen.labels.size, 1)))
    table = _cell_table(seen.cells, count, time if exposed else np.full_like(time, np.nan), hot)
    dangerous = table["hot"].to_numpy()
    # Without positions the busiest place is shown, which is no verdict on it.
    here = count[:, dangerous if exposed else [int(np.argmax(count.sum(axis=0)))]].sum(axis=1)
    share: Estimate = share_by_player(here, count.sum(axis=1), seen.labels)
    warnings = list(basis.warnings)
    if not exposed:
        warnings.append(
            "No positions are logged, so a dangerous place cannot be told from a busy one: log a `position` event "
            "a few times a second."
        )
    if missing:
        warnings.append(f"{counted(missing, 'death')} without a place.")
    drawn = _Map(table, hot, exposed, counted(int(every.sum()), "death"))
    if dangerous.any():
        # They were picked for having many: fewer are to be expected there again.
        again = float((hot.times.value * hot.expected)[dangerous].sum() / count[:, dangerous].sum())
        share = share.times(min(again, 1.0), share.unit)
        sentence = _hot_words(drawn, percent(share.value), limits(share))
    else:
        sentence = _nothing_hot_words(drawn, limits(share))
    return PLACES.finding(
        basis,
        sentence,
        share,
        {"cells": table, "deaths": _deaths(seen.placed), "by_cause": _by_cause(seen)},
        {
            **screen_facts(seen.cells),
            "exposure": exposed,
            "hot_cells": int(dangerous.sum()),
            "scale_per_min": scale,
            "hottest": _what_kills(seen, drawn) if dangerous.any() else "",
            **{
                name: float(table[name].iloc[int(np.argmax(hot.score))])
                for name in ("times", "times_low", "times_high")
            },
        },
        warnings=tuple(warnings),
        headline=_headline(seen, drawn) if dangerous.any() else "",
        doubtful=bool(dangerous.any()) and not drawn.apart,
    )


def _headline(seen: Seen, drawn: _Map) -> str:
    """Where the strongest hot place is, and what kills there. More die there for their time, which need not be most."""
    if not drawn.apart:
        return "No place is shown to be deadlier than elsewhere."
    what = _what_kills(seen, drawn)
    side = screen_side(seen.cells, drawn.hottest)
    return f"Deadlier than elsewhere: {what + ',' if what else 'a place'} {side}."


def _what_kills(seen: Seen, drawn: _Map) -> str:
    """The cause and the part of the game that stand for most deaths of the strongest hot place, if any do."""
    death = seen.placed
    here = seen.cells.number(death["x"], death["y"]) == drawn.hottest
    part = pd.Series(
        [
            stage_name(*of)
            for of in zip(death["stage"][here], death["stage_kind"][here], strict=True)
            if of[0] is not None
        ]
    )
    cause = pd.Series([None if text is None else str(text) for text in death["cause_label"][here]]).dropna()
    return " in ".join(name for name in (_most(cause, here.sum()), _most(part, here.sum())) if name)


def _most(names: pd.Series, deaths: int) -> str:
    """The name that at least two thirds of the deaths have; else ""."""
    if names.empty:
        return ""
    count = names.value_counts()
    return str(count.index[0]) if 3 * count.iloc[0] >= 2 * deaths else ""


def _cell_table(cells: Cells, count: Array, time: Array, hot: HotSpots) -> pd.DataFrame:
    deaths, seconds = count.sum(axis=0), time.sum(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = np.where(seconds > 0, deaths / seconds, np.nan)
        low, high = rate_limits(deaths, seconds)
    known = np.isfinite(seconds).all()
    weight = seconds if known else np.ones_like(deaths)
    return pd.DataFrame(
        {
            **cells.areas(),
            "deaths": deaths.astype(int),
            "players": hot.players,
            "seconds": seconds,
            "rate_per_s": rate,
            "rate_low": low,
            "rate_high": high,
            "smooth_rate": smooth_rate(deaths, weight, cells, BANDWIDTH * cells.size),
            "expected_deaths": hot.expected,
            "expected_players": hot.expected_players,
            **{name: column if known else np.full(column.size, np.nan) for name, column in times_columns(hot).items()},
            "score": hot.score,
            "p": hot.p if known else np.full(hot.p.size, np.nan),
            "hot": is_hot(hot) & known,
        }
    )


def _deaths(death: Columns) -> dict[str, Array]:
    names = ("life_id", "run_id", "player", "stage", "stage_kind", "cause", "cause_label", "x", "y")
    return {name: death[name] for name in names} | {"alive_s": death["alive_us"] / 1e6}


def _by_cause(seen: Seen) -> pd.DataFrame:
    """Deaths of each cause in each cell that has any."""
    death, cells = seen.placed, seen.cells
    of = pd.DataFrame({"cause": death["cause"], "cell": cells.number(death["x"], death["y"])})
    number = of.dropna().groupby(["cause", "cell"]).size().reset_index(name="deaths")
    names = {value: label_of(death, death["cause"] == value) for value in number["cause"].unique()}
    return pd.DataFrame(
        {
            "cause": number["cause"].astype(int),
            "label": number["cause"].map(names),
            "x_px": cells.left[number["cell"]],
            "y_px": cells.top[number["cell"]],
            "deaths": number["deaths"],
        }
    )


def _nothing_hot_words(drawn: _Map, interval: str) -> str:
    if drawn.exposed:
        most = int(np.argmax(drawn.hot.score))
        return (
            f"No place stands out beyond chance among {drawn.total}, given where players were; the most suspicious, "
            f"{drawn.took(most)} (p = {drawn.hot.p[most]:.2f}, corrected for all cells)."
        )
    deaths = drawn.table["deaths"].to_numpy()
    most = int(np.argmax(deaths))
    return (
        f"{int(deaths[most])} of {drawn.total} were at {drawn.place(most)} {interval}, more than anywhere; "
        "whether that place is dangerous or only busy the log does not say."
    )


def _hot_words(drawn: _Map, share: str, interval: str) -> str:
    top = drawn.hottest
    return (
        f"{int(drawn.table['deaths'][drawn.table['hot']].sum())} of {drawn.total} were at "
        f"{counted(int(drawn.table['hot'].sum()), 'hot place')} on the screen, and {share} are to be expected there "
        f"again {interval}; the strongest, {drawn.took(top)} "
        f"(p = {drawn.hot.p[top]:.3f}, corrected for all cells)."
    )
