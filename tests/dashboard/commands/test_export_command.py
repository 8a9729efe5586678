"""`setscrew export`: what it prints, and what it says where it cannot."""

import csv
import zipfile
from pathlib import Path

import duckdb
import pytest

from dashboard.cli import main
from dashboard.command_line import exits


def exported(study: Path, *words: str) -> int:
    return main(["export", "--study", str(study), *words])


def test_everything_is_written_and_told(demo_study, tmp_path, capsys):
    out = tmp_path / "data"
    assert exported(demo_study, "--out", str(out)) == exits.OK
    said = capsys.readouterr()
    assert said.out == f"{out}\n"
    with (out / "deaths.csv").open(encoding="utf-8", newline="") as file:
        deaths = sum(1 for _ in csv.reader(file)) - 1
    assert f" {deaths} deaths," in said.err and deaths > 10
    assert zipfile.is_zipfile(out / "demo.xlsx")
    assert len(duckdb.sql(f"FROM '{out}/parquet/deaths/**/*.parquet'").fetchall()) == deaths


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["--format", "ods"], exits.USAGE, "--format ods: there is no such format"),
        (["--game", "Nothing"], exits.USAGE, "Its games:"),
        (["--events"], exits.USAGE, "say --tags too"),
    ],
)
def test_what_cannot_be_is_told_with_the_remedy(demo_study, tmp_path, capsys, words, code, says):
    assert exported(demo_study, "--out", str(tmp_path / "data"), *words) == code
    assert says in capsys.readouterr().err and not (tmp_path / "data").exists()


def test_a_folder_that_cannot_be_written(demo_study, tmp_path, capsys):
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert exported(demo_study, "--out", str(tmp_path / "file")) == exits.INPUT
    assert "choose another place" in capsys.readouterr().err
    out = tmp_path / "data"
    assert exported(demo_study, "--out", str(out), "--format", "csv") == exits.OK
    assert exported(demo_study, "--out", str(out), "--format", "csv") == exits.USAGE
    assert "is there already" in capsys.readouterr().err


def test_raw_events_come_along_with_the_tags(demo_study, tmp_path):
    out = tmp_path / "data"
    assert exported(demo_study, "--out", str(out), "--format", "parquet", "--tags", "--events") == exits.OK
    kinds = duckdb.sql(f"SELECT count(DISTINCT kind) FROM '{out}/raw/kinds.parquet'").fetchall()[0][0]
    assert len({path.parent.name for path in (out / "raw/events").rglob("*.parquet")}) == kinds > 5
