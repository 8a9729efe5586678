"""Tables as files, read back with other people's code: nothing lost, nothing run, nobody's data overwritten."""

import csv
import hashlib
import os
from pathlib import Path

import duckdb
import openpyxl
import pandas as pd
import pyarrow.parquet as parquet
import pytest

import analysis
from analysis.arguments import WrongArgument
from analysis.data import workbook
from analysis.data.csv_files import CsvFiles
from analysis.data.declared_tables import DEATHS, TABLES
from analysis.data.partitions import key_of, studies_in
from analysis.data.workbook import Workbook
from ingest.study.store import import_log, open_study
from tests.analysis.test_public_face import written

# The starts that OWASP's page on CSV injection names.
FORMULAS = ["=1+1", "+1", "-1+2", "@SUM(A1)", "\t=1", "\r=1", '=HYPERLINK("http://x")', '=cmd|"/C calc"!A0']


@pytest.fixture(scope="module")
def out(whole_demo, tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("out")
    done = analysis.open(whole_demo).export(folder)
    assert not done.remarks and all(path.is_file() for path in done.files)
    assert not list(folder.glob(".being-written-*"))
    return folder


@pytest.mark.parametrize("name", list(TABLES))
def test_three_formats_hold_the_same(out, whole_demo, name):
    table = TABLES[name]
    told = getattr(analysis.open(whole_demo), name)()
    with (out / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        head, *rows = csv.reader(file)
    assert head == [column.name for column in table.given(tags=False)] and len(rows) == len(told)
    sheet = openpyxl.load_workbook(out / "demo.xlsx", read_only=True)[name]
    headings, *lines = sheet.iter_rows(values_only=True)
    assert list(headings) == [column.heading for column in table.given(tags=False)] and len(lines) == len(told)
    part = parquet.read_table(out / "parquet" / name).to_pandas()
    for at, column in enumerate(table.given(tags=False)):
        if column.name == "player":
            continue  # numbered: below
        expected = told[column.name].astype(object).where(told[column.name].notna(), None).tolist()
        texts = [["", "no", "yes"][1 + v] if isinstance(v, bool) else "" if v is None else str(v) for v in expected]
        assert [row[at] for row in rows] == texts, column.name
        cells = [line[at] for line in lines]
        if column.name == "run_id":
            cells = [int(cell) for cell in cells]  # a text: a spreadsheet would round it
        assert cells == [pytest.approx(v, rel=1e-15) if isinstance(v, float) else v for v in expected], column.name
        assert sorted(part[column.name].dropna()) == sorted(told[column.name].dropna()), column.name
    assert {"-1"} & {row[head.index("error_ms")][:2] for row in rows} if name == "notes" else True  # a number, no text


def test_the_workbook_explains_itself(out):
    book = openpyxl.load_workbook(out / "demo.xlsx", read_only=True)
    assert book.sheetnames == ["about", "columns", *TABLES]
    rows = [tuple("" if cell is None else cell for cell in row) for row in book["columns"].iter_rows(values_only=True)]
    with (out / "columns.csv").open(encoding="utf-8", newline="") as file:
        assert [tuple(row) for row in csv.reader(file)] == rows
    assert ("deaths", "x (px)", "x", "px", "BIGINT", "where on the console's screen, from its left") in rows
    assert len(rows) == 1 + sum(len(table.given(tags=False)) for table in TABLES.values())


def test_players_go_out_by_number_unless_their_tags_are_asked_for(out, whole_demo, tmp_path):
    study = analysis.open(whole_demo)
    tags = set(study.runs()["player"])
    studies = {str(path) for path in study.runs()["capture"]}
    content = "".join(path.read_text(encoding="utf-8") for path in out.glob("*.csv"))
    assert not any(name in content for name in studies) and "played_at" not in content
    numbers = set(pd.read_csv(out / "runs.csv")["player"])
    assert numbers == {f"P{number + 1}" for number in range(len(tags))}
    runs = parquet.read_table(out / "parquet" / "runs").to_pandas()
    assert set(runs["player"]) == numbers
    assert all(runs[column.name].isna().all() for column in TABLES["runs"].columns if column.personal)
    study.export(tmp_path, "csv", tags=True)
    told = pd.read_csv(tmp_path / "runs.csv")
    assert set(told["player"]) == tags and set(told["capture"]) == studies
    # Who made which run is the same up to the names.
    assert told.groupby("player").ngroup().nunique() == len(tags)
    both = pd.DataFrame({"tag": told["player"], "number": pd.read_csv(out / "runs.csv")["player"]})
    assert both.drop_duplicates().shape[0] == len(tags)


@pytest.mark.parametrize("formula", FORMULAS)
def test_no_text_becomes_a_formula(whole_demo, tmp_path, formula):
    frame = analysis.open(whole_demo).deaths("Soot Wardens").head(2)
    frame["cause_label"], frame["player"], frame["x"] = formula, formula, -5
    files = CsvFiles(tmp_path, ["about", formula], tags=False)
    book = Workbook(tmp_path / "a.xlsx", ["about", formula], tags=False)
    for writer in (files, book):
        writer.begin(DEATHS)
        writer.add(frame)
        writer.end()
        writer.close()
    with (tmp_path / "deaths.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert all(
        not row[name].startswith(("=", "+", "-", "@", "\t", "\r")) for row in rows for name in ("player", "game")
    )
    assert rows[0]["x"] == "-5"  # a number stays one
    loaded = openpyxl.load_workbook(tmp_path / "a.xlsx")
    cells = [cell for sheet in loaded for row in sheet.iter_rows() for cell in row]
    assert not [cell for cell in cells if cell.data_type == "f" or cell.hyperlink]
    head = [cell.value for cell in loaded["deaths"][1]]
    label = loaded["deaths"].cell(2, head.index("cause label") + 1)
    assert label.data_type == "s" and label.value.strip() == formula.replace("\r", "_x000D_").strip()


def test_a_table_that_is_too_long_for_a_sheet_goes_on_on_the_next(whole_demo, tmp_path, monkeypatch):
    monkeypatch.setattr(workbook, "MOST_ROWS", 101)
    done = analysis.open(whole_demo).export(tmp_path, "excel", "Soot Wardens")
    book = openpyxl.load_workbook(tmp_path / "demo.xlsx", read_only=True)
    lives = [name for name in book.sheetnames if name.startswith("lives")]
    assert lives == ["lives", "lives 2", "lives 3"] and done.rows["lives"] == 259
    sizes = [sum(1 for _ in book[name].iter_rows()) for name in lives]
    assert sizes == [101, 101, 60]


def test_a_file_that_is_there_is_never_overwritten(out, whole_demo):
    before = {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in out.rglob("*") if path.is_file()}
    for formats in ("csv", "excel"):
        with pytest.raises(WrongArgument, match="is there already"):
            analysis.open(whole_demo).export(out, formats)
    with pytest.raises(WrongArgument, match="there are: csv, excel, parquet"):
        analysis.open(whole_demo).export(out, "ods")
    assert before == {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in out.rglob("*") if path.is_file()}


@pytest.mark.parametrize("formats", ["csv", "excel", "parquet"])
def test_an_export_that_is_broken_off_leaves_nothing(whole_demo, tmp_path, formats):
    def stop(share, words):
        if words == "writing deaths":
            raise InterruptedError

    with pytest.raises(InterruptedError):
        analysis.open(whole_demo).export(tmp_path, formats, tell=stop)
    assert os.listdir(tmp_path) == []


# --- many classes ---------------------------------------------------------------------------------------------------


def counts(folder: Path) -> dict[str, int]:
    """Deaths of each study, by an engine that is told nothing but the place."""
    rows = duckdb.sql(f"SELECT study_key, count(*) FROM '{folder}/parquet/deaths/**/*.parquet' GROUP BY ALL").fetchall()
    return dict(rows)


def test_two_studies_of_one_name_lie_side_by_side_and_the_same_one_replaces_itself(tmp_path):
    for name in ("one", "other"):
        (tmp_path / name).mkdir()
    one, other = written(tmp_path / "one", "A"), written(tmp_path / "other", "B")
    lake = tmp_path / "lake"
    assert not analysis.open(one).export(lake, "parquet").remarks
    assert not analysis.open(other).export(lake, "parquet").remarks
    assert sorted(counts(lake).values()) == [4, 4]
    again = analysis.open(one).export(lake, "parquet")
    assert "replaced" in again.remarks[0] and sorted(counts(lake).values()) == [4, 4]
    assert [name for name, _ in studies_in(lake / "parquet").values()] == ["class", "class"]
    # The same logs under another name count twice, and that is said.
    assert "count twice" in analysis.open(one).export(lake, "parquet", name="elsewhere").remarks[0]
    assert sorted(counts(lake).values()) == [4, 4, 4]


def test_half_the_same_study_is_refused(tmp_path):
    studies = []
    for number in range(2):
        folder = tmp_path / str(number)
        folder.mkdir()
        path = written(folder, f"own {number}")
        with open_study(path) as study:
            import_log(study, tmp_path / "0" / "class.playlog")
            for more in range(2):
                extra = folder / f"more{more}"
                extra.mkdir()
                written(extra, f"more {number} {more}")
                import_log(study, extra / "class.playlog")
        studies.append(path)
    analysis.open(studies[0]).export(tmp_path / "lake", "parquet")
    with pytest.raises(WrongArgument, match="name this one otherwise"):
        analysis.open(studies[1]).export(tmp_path / "lake", "parquet")


def test_an_empty_study_gives_empty_tables_and_is_in_nobodys_way(tmp_path):
    with open_study(tmp_path / "none.duckdb"):
        pass
    done = analysis.open(tmp_path / "none.duckdb").export(tmp_path / "lake")
    assert set(done.rows.values()) == {0} and (tmp_path / "lake/notes.csv").read_text("utf-8").startswith(
        "game,run_id,"
    )
    assert len(openpyxl.load_workbook(tmp_path / "lake/none.xlsx").sheetnames) == 2 + len(TABLES)
    analysis.open(written(tmp_path)).export(tmp_path / "lake", "parquet")
    analysis.open(tmp_path / "none.duckdb").export(tmp_path / "lake", "parquet")
    assert list(counts(tmp_path / "lake").values()) == [4] and len(studies_in(tmp_path / "lake/parquet")) == 1


def test_one_game_replaces_that_game_only(whole_demo, tmp_path):
    study = analysis.open(whole_demo)
    study.export(tmp_path, "parquet")
    before = counts(tmp_path)
    study.export(tmp_path, "parquet", "Soot Wardens")
    assert counts(tmp_path) == before


ODD = [
    "../../up",
    "a/b\\c",
    "grüße 日本",
    "",
    "   ",
    "1.10",
    "NULL",
    "a=b&c",
    "CON",
    "x" * 300,
    "__HIVE_DEFAULT_PARTITION__",
]


def test_keys_are_safe_for_any_text():
    keys = [key_of(text, text) for text in ODD]
    assert len(set(keys)) == len(ODD)
    for key in keys:
        assert key.replace("-", "").isalnum() and key.isascii() and key == key.lower() and len(key) <= 31
        assert not key.replace("-", "").isdigit() or "-" in key
    assert key_of("Moth", "Moth") != key_of("moth", "moth") and key_of("1.0", "1.0").startswith("1-0-")


@pytest.mark.parametrize("game", ["../../up", "grüße/日本", " ", "1.10"])
def test_odd_titles_stay_in_the_folder_and_are_read_back(tmp_path, game):
    lake = tmp_path / "lake"
    done = analysis.open(written(tmp_path, game)).export(lake, "parquet", name=game)
    assert all(path.resolve().is_relative_to(lake.resolve()) for path in done.files)
    rows = duckdb.sql(f"SELECT DISTINCT game, study FROM '{lake}/parquet/lives/**/*.parquet'").fetchall()
    assert rows == [(game, game)]
    told = parquet.read_table(lake / "parquet" / "lives").to_pandas()
    assert set(told["game"]) == {game} and set(told["game_key"]) == {key_of(game, game)}
