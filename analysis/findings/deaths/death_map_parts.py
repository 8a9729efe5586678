"""Where each cause and each part of the game kills.

A cause is compared with the time spent in those parts of the game in which it killed at all.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.deaths.screen_cells import (
    AREA,
    SCREEN,
    TIMES,
    is_hot,
    label_of,
    place_words,
    screen_facts,
    times_columns,
    times_words,
)
from analysis.findings.deaths.seen import Seen
from analysis.findings.declared import CAUSE, PART, Column, Declared
from analysis.reader import Columns
from analysis.stats.places import hot_spots_of_parts
from analysis.words import counted, stage_name

Array = np.ndarray


def _declared(by: str, title: str, *head: Column) -> Declared:
    cells = (
        *head,
        *AREA,
        Column("deaths", "", "deaths in the cell; cells without any are left out"),
        Column("players", "", "players who died there"),
        Column("expected_deaths", "", "deaths to be expected from each player's time there"),
        *TIMES,
        Column("score", "", "how far the deaths are beyond what is expected"),
        Column("p", "", "chance that any cell of any part stands out as much; corrected for all"),
        Column("hot", "", "p of at most 0.05, and two players or more died there"),
    )
    parts = (
        *head,
        Column("deaths", "", "all deaths of it"),
        Column("players", "", "players who died of it"),
        Column("hot_cells", "", "how many of its cells are hot"),
        Column("strongest_x_px", "px", "left edge of the cell that stands out most"),
        Column("strongest_y_px", "px", "upper edge of that cell"),
        *TIMES,
        Column("p", "", "the p of that cell"),
    )
    return Declared(f"deaths.places_by_{by}", "deaths", title, "hot_spots", {"cells": cells, "parts": parts}, SCREEN)


BY_CAUSE = _declared("cause", "Where each cause kills", *CAUSE)
BY_STAGE = _declared("stage", "Where each stage kills", *PART)


@dataclass(frozen=True)
class _Part:
    """A cause or a stage. head: what its rows begin with; died, spent: which deaths and rows of time are its own."""

    head: dict[str, Any]
    name: str
    died: Array
    spent: Array


def find(seen: Seen, basis: Basis) -> list[Finding]:
    """The hot-spot test by cause and by stage, each where there are two or more of them."""
    here, then = _segment(seen.placed), _segment(seen.spent)
    cause = seen.placed["cause"]
    causes = []
    for value in np.unique(cause[np.isfinite(cause)]):
        mine = cause == value
        label = label_of(seen.placed, mine)
        causes.append(_Part({"cause": int(value), "label": label}, label, mine, _among(then, here[mine])))
    stages = []
    for value in np.unique(here[np.isfinite(here)]):
        stage, kind = divmod(int(value), 2)
        name = stage_name(stage, kind)
        head = {"stage": stage, "stage_kind": kind, "name": name}
        stages.append(_Part(head, name, here == value, then == value))
    found = [_finding(BY_CAUSE, "causes", causes, seen, basis)] if len(causes) > 1 else []
    return found + ([_finding(BY_STAGE, "parts of the game", stages, seen, basis)] if len(stages) > 1 else [])


def _segment(row: Columns) -> Array:
    """One number for stage and kind; NaN outside stages."""
    kind = np.nan_to_num(row["stage_kind"])
    return 2 * row["stage"] + (kind == 1)


def _among(segment: Array, wanted: Array) -> Array:
    """Which are in the segments `wanted`; NaN, outside stages, is one of them."""
    inside = np.isin(segment, wanted[np.isfinite(wanted)])
    return inside | (np.isnan(segment) if np.isnan(wanted).any() else False)


def _finding(what: Declared, noun: str, parts: Sequence[_Part], seen: Seen, basis: Basis) -> Finding:
    counts, times = [seen.counts(part.died) for part in parts], [seen.time(part.spent) for part in parts]
    areas = seen.cells.areas()
    cells: list[dict[str, Any]] = []
    rows: list[dict[str, Any]] = []
    hottest, said = -np.inf, ""
    for part, count, spots in zip(parts, counts, hot_spots_of_parts(counts, times), strict=True):
        deaths, hot = count.sum(axis=0).astype(int), is_hot(spots)
        columns = {
            **areas,
            "deaths": deaths,
            "players": spots.players,
            "expected_deaths": spots.expected,
            **times_columns(spots),
            "score": spots.score,
            "p": spots.p,
            "hot": hot,
        }
        cells += [part.head | {name: column[i] for name, column in columns.items()} for i in np.flatnonzero(deaths)]
        top = int(np.argmax(np.where(deaths > 0, spots.score, -np.inf)))
        rows.append(
            part.head
            | {
                "deaths": int(deaths.sum()),
                "players": int(np.sum(count.sum(axis=1) > 0)),
                "hot_cells": int(hot.sum()),
                "strongest_x_px": int(areas["x_px"][top]),
                "strongest_y_px": int(areas["y_px"][top]),
                **{name: float(column[top]) for name, column in times_columns(spots).items()},
                "p": float(spots.p[top]),
            }
        )
        if hot.any() and spots.score[top] > hottest:
            place = place_words(*(column[top] for column in areas.values()))
            hottest, said = (
                float(spots.score[top]),
                f"{part.name} at {place}, with {counted(int(deaths[top]), 'death')}, "
                f"{times_words(spots, top, f'all of {len(parts)} {noun}')} (p = {spots.p[top]:.3f})",
            )
    corrected = f"corrected for all cells of {len(parts)} {noun}"
    if not said:
        sentence = f"None of the {len(parts)} {noun} has a hot place of its own, {corrected}."
    else:
        having = sum(row["hot_cells"] > 0 for row in rows)
        verb = "has" if having == 1 else "have"
        sentence = f"{having} of {len(parts)} {noun} {verb} hot places; the strongest is {said}, {corrected}."
    return what.finding(basis, sentence, tables={"cells": cells, "parts": rows}, facts=screen_facts(seen.cells))
