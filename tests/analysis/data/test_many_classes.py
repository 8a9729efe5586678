"""Several classes in one folder: two engines that know nothing of each other give the same answers, and true ones."""

import re
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pytest
from lifelines import KaplanMeierFitter

import analysis
from analysis.data.declared_tables import TABLES
from analysis.data.partitions import key_of
from tests.bench.analysis.many_classes.classes import class_of, drawn
from tests.bench.analysis.many_classes.questions import AT_S, CELL_PX, by_duckdb, by_frames, differences

CLASSES = 3


@pytest.fixture(scope="module")
def source(whole_demo):
    return class_of(whole_demo)


@pytest.fixture(scope="module")
def lake(whole_demo, source, tmp_path_factory):
    """The demo's study, and two classes drawn from its people."""
    folder = tmp_path_factory.mktemp("lake")
    analysis.open(whole_demo).export(folder, "parquet")
    for number in range(1, CLASSES):
        drawn(number, [source], folder)
    return folder


def test_both_engines_answer_alike(lake):
    one, other = by_duckdb(lake), by_frames(lake, pd)
    assert differences(one, other) == []
    assert len(one["deaths by cell"]) > 100 and len(one["hit share by song"]) == 3
    changed = other["survival by build"].assign(surviving=lambda rows: rows["surviving"] + 1e-6)
    assert len(differences(one, other | {"survival by build": changed})) == 1  # what differs is found


def test_the_answers_are_those_of_the_classes(lake, source):
    """Held against frames that never were in a file, and survival against other people's curve."""
    told, folder = by_duckdb(lake), lake / "parquet"
    assert len(list((folder / "logs").glob("study_key=*"))) == CLASSES
    parts = {name: pd.read_parquet(folder / name) for name in TABLES}
    first = key_of("demo", "")[:-11]
    for name in ("lives", "deaths", "notes"):
        own = parts[name][parts[name]["study"] == first]
        assert len(own) == len(source.tables[name]) and len(parts[name]) > 2 * len(own)
    deaths = parts["deaths"].dropna(subset=["x"])
    assert told["deaths by cell"]["deaths"].sum() == len(deaths)
    most = told["deaths by cell"].sort_values("deaths").iloc[-1]
    here = deaths[(deaths["x"] // CELL_PX == most["cell_x"]) & (deaths["y"] // CELL_PX == most["cell_y"])]
    here = here[(here["game_key"] == most["game_key"]) & (here["stage"] == most["stage"])]
    assert (here["stage_kind"] == most["stage_kind"]).sum() == most["deaths"]
    songs, notes = told["hit share by song"], parts["notes"]
    for row in songs.itertuples():
        own = notes[notes["song_name"] == row.song_name]
        assert row.hits == own["hit"].sum() and row.players == len(own[["study_key", "player"]].drop_duplicates())
    for (game, build), rows in told["survival by build"].groupby(["game_key", "build_key"]):
        own = parts["lives"][(parts["lives"]["game_key"] == game) & (parts["lives"]["build_key"] == build)]
        fitted = KaplanMeierFitter().fit(own["alive_s"], own["died"].astype(bool))
        rows = rows.sort_values("at_s")
        assert rows["at_s"].tolist() == list(AT_S)
        assert np.allclose(rows["surviving"], fitted.predict(list(AT_S)), atol=1e-12)
        assert rows["lives"].tolist() == [len(own)] * len(AT_S) and (rows["deaths"] == own["died"].sum()).all()


def test_the_sql_of_the_page_runs_and_packing_changes_no_answer(lake, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "packed/parquet").mkdir(parents=True)
    page = (Path(analysis.__file__).parent / "data/DATA.md").read_text(encoding="utf-8")
    asked, pack = re.findall(r"^ *```sql\n(.*?)^ *```", page, re.MULTILINE | re.DOTALL)
    with duckdb.connect() as base:
        rows = base.execute(asked.replace("all/", f"{lake}/")).fetchall()
        assert sum(row[2] for row in rows) == len(pd.read_parquet(lake / "parquet/deaths"))
        for table in ("deaths", "notes", "lives"):
            base.execute(pack.replace("all/", f"{lake}/").replace("notes", table).replace("packed/", "packed/parquet/"))
    assert len(list(tmp_path.rglob("*.parquet"))) < len(list(lake.rglob("*.parquet")))
    assert differences(by_duckdb(lake), by_duckdb(tmp_path / "packed")) == []
