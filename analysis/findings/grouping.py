"""Rows of a query put into groups: by stage, build, attempt, player group, first-time players."""

from collections.abc import Iterator

import numpy as np

from analysis.reader import Columns
from analysis.words import counted, stage_name

Array = np.ndarray

# Key of a grouping -> what it is by, in words.
GROUPINGS = {
    "stage": "stage",
    "build": "build",
    "attempt": "attempt",
    "group": "player group",
    "first_time": "first-time players",
}
_LAST_ATTEMPT = 4


def group_names(row: Columns, key: str) -> list[str | None]:
    """The group of each row; None where it is unknown, and everywhere where the columns do not tell."""
    nobody: list[str | None] = [None] * len(next(iter(row.values())))
    if key == "stage" and "stage" in row:
        pairs = zip(row["stage"], row["stage_kind"], strict=True)
        return [None if np.isnan(stage) else stage_name(stage, kind) for stage, kind in pairs]
    if key == "build" and "build" in row:
        return [build if isinstance(build, str) else None for build in row["build"].tolist()]
    if key == "attempt" and "attempt" in row:
        few = [int(attempt) for attempt in row["attempt"]]
        last = f"attempt {_LAST_ATTEMPT} and later"
        return [f"attempt {attempt}" if attempt < _LAST_ATTEMPT else last for attempt in few]
    if key == "group" and "player_group" in row:
        return [group if isinstance(group, str) else None for group in row["player_group"].tolist()]
    if key == "first_time" and "first_time" in row:
        words = {1.0: "first-time players", 0.0: "players who know the game"}
        return [words.get(first) for first in row["first_time"].tolist()]
    return nobody


def groupings(row: Columns, keys: tuple[str, ...] = tuple(GROUPINGS)) -> Iterator[tuple[str, Array, Array]]:
    """(key, which rows have a group, the group of those) for each grouping with two groups or more."""
    for key in keys:
        names = group_names(row, key)
        known = np.array([name is not None for name in names], bool)
        group = np.array([name for name in names if name is not None], dtype=str)
        if np.unique(group).size > 1:
            yield key, known, group


def same_people(row: Columns) -> str:
    """A warning where players who know the game are first-time players in other rows; "" where nobody is both."""
    player, first = row["player"].astype(str), row["first_time"].astype(float)
    know, new = set(player[first == 0]), set(player[first == 1])
    if not know & new:
        return ""
    return (
        f"{len(know & new)} of the {counted(len(know), 'player')} who know the game are in both groups, first-time "
        "players in their first runs: what parts the groups is mostly what the same people learned, not who they are."
    )
