"""Three questions over many classes, put to DuckDB in SQL and to pandas or Dask in its own words.

Both read the same folder of Parquet, and neither uses anything of Setscrew.
"""

from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd

CELL_PX = 8
_PIECES = 8
AT_S = (5, 10, 20, 30, 60)

_CELLS = f"""
SELECT game_key, stage, stage_kind, x // {CELL_PX} AS cell_x, y // {CELL_PX} AS cell_y, count(*) AS deaths
FROM read_parquet($path, hive_partitioning = true) WHERE x IS NOT NULL GROUP BY ALL
"""
_SONGS = """
SELECT game_key, song_name, count(hit) AS judged, count(*) FILTER (hit) AS hits,
    count(DISTINCT study_key || '/' || player) AS players
FROM read_parquet($path, hive_partitioning = true) GROUP BY ALL
"""
# Kaplan and Meier (1958): the product of 1 - deaths / at risk over the times of death.
_BUILDS = """
WITH times AS (
    SELECT game_key, build_key, round(alive_s * 1e6)::BIGINT AS us, count(*) AS lives, count(*) FILTER (died) AS died
    FROM read_parquet($path, hive_partitioning = true) GROUP BY ALL
), risks AS (
    SELECT *, sum(lives) OVER (PARTITION BY game_key, build_key ORDER BY us DESC) AS at_risk FROM times
)
SELECT game_key, build_key, at_s, sum(lives)::BIGINT AS lives, sum(died)::BIGINT AS deaths,
    sum(lives * us) / 1e6 AS alive_s,
    coalesce(product(1 - died / at_risk) FILTER (us <= at_s * 1000000), 1) AS surviving
FROM risks, unnest($at) AS t(at_s) GROUP BY ALL
"""


def by_duckdb(lake: Path, threads: int = 2) -> dict[str, pd.DataFrame]:
    """The answers: name -> frame."""
    with duckdb.connect(config={"threads": threads}) as base:

        def asked(question: str, table: str, **more: Any) -> pd.DataFrame:
            return base.execute(question, {"path": f"{lake}/parquet/{table}/**/*.parquet"} | more).df()

        return {
            "deaths by cell": asked(_CELLS, "deaths"),
            "hit share by song": asked(_SONGS, "notes"),
            "survival by build": asked(_BUILDS, "lives", at=list(AT_S)),
        }


def by_frames(lake: Path, engine: Any) -> dict[str, pd.DataFrame]:
    """The same answers by `engine`: pandas, or dask.dataframe, which has the same words and works out nothing before
    `compute`.
    """

    def read(table: str, columns: list[str]) -> Any:
        keys = ["game_key", "study_key", "build_key"]
        frame = engine.read_parquet(f"{lake}/parquet/{table}", columns=[*keys, *columns])
        if hasattr(frame, "repartition"):  # Dask's: a task for every small file takes long
            frame = frame.repartition(npartitions=_PIECES)
        return frame.assign(**{key: frame[key].astype(str) for key in keys})

    def done(frame: Any) -> Any:
        return frame.compute() if hasattr(frame, "compute") else frame

    deaths = read("deaths", ["stage", "stage_kind", "x", "y"]).dropna(subset=["x"])
    deaths = deaths.assign(cell_x=deaths["x"] // CELL_PX, cell_y=deaths["y"] // CELL_PX)
    cell = ["game_key", "stage", "stage_kind", "cell_x", "cell_y"]
    cells = done(deaths.groupby(cell, dropna=False).size()).rename("deaths").reset_index()

    notes = read("notes", ["song_name", "hit", "player"])
    notes = notes.assign(who=notes["study_key"] + "/" + notes["player"].astype(str), hit=notes["hit"].astype("float64"))
    by_song = notes.groupby(["game_key", "song_name"])
    judged, players = done(by_song["hit"].agg(["count", "sum"])), done(by_song["who"].nunique())
    songs = judged.rename(columns={"count": "judged", "sum": "hits"}).join(players.rename("players")).reset_index()

    lives = read("lives", ["alive_s", "died"])
    lives = lives.assign(us=(lives["alive_s"] * 1e6).round().astype("int64"), died=lives["died"].astype("int64"))
    times = done(lives.groupby(["game_key", "build_key", "us"])["died"].agg(["count", "sum"])).reset_index()
    return {"deaths by cell": cells, "hit share by song": songs, "survival by build": _survival(times)}


def _survival(times: pd.DataFrame) -> pd.DataFrame:
    """times: a row for each build and length of life, with the lives of that length and those of them that died."""
    rows = []
    for (game, build), own in times.sort_values("us").groupby(["game_key", "build_key"]):
        lives, died, us = (own[name].to_numpy() for name in ("count", "sum", "us"))
        curve = np.cumprod(1 - died / lives[::-1].cumsum()[::-1])
        for at in AT_S:
            passed = int(np.searchsorted(us, at * 1_000_000, side="right"))
            row = (game, build, at, lives.sum(), died.sum(), (lives * us).sum() / 1e6)
            rows.append((*row, curve[passed - 1] if passed else 1.0))
    names = ["game_key", "build_key", "at_s", "lives", "deaths", "alive_s", "surviving"]
    return pd.DataFrame(rows, columns=names)


def differences(one: dict[str, pd.DataFrame], other: dict[str, pd.DataFrame]) -> list[str]:
    """Where two answers differ: counts in anything, sums and products by more than 1e-9 of themselves."""
    found = []
    for name, left in one.items():
        right = other[name]
        columns = sorted(left.columns)
        left, right = (_ordered(frame[columns]) for frame in (left, right))
        if len(left) != len(right):
            found.append(f"{name}: {len(left)} rows against {len(right)}")
            continue
        for column in columns:
            a, b = left[column].to_numpy(), right[column].to_numpy()
            numbers = all(values.dtype.kind in "iuf" for values in (a, b))
            same = np.isclose(a, b, rtol=1e-9, atol=0, equal_nan=True) if numbers else a == b
            if not np.all(same):
                at = int(np.flatnonzero(~same)[0])
                found.append(f"{name}, {column}: {a[at]} against {b[at]}, in {int((~same).sum())} rows")
    return found


def _ordered(frame: pd.DataFrame) -> pd.DataFrame:
    told = {
        name: values.astype(str)
        if values.dtype == object or str(values.dtype).startswith("str")
        else values.astype(float)
        for name, values in frame.items()
    }
    keys = [
        name
        for name in frame.columns
        if name not in ("deaths", "hits", "judged", "players", "lives", "alive_s", "surviving")
    ]
    return pd.DataFrame(told).sort_values(keys, ignore_index=True)
