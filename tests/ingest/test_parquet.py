"""The Parquet export, read back with a second engine."""

from pathlib import Path

import pyarrow.dataset as dataset
import pyarrow.parquet as parquet
import pytest

from ingest.parquet import export_parquet
from ingest.study.store import Study
from ingest.study.study_errors import StudyError
from tests.ingest.logs import Play
from tests.ingest.studies import dictionary, event, imported, rows


def test_another_engine_reads_the_same(study: Study, tmp_path: Path) -> None:
    imported(study, tmp_path / "a.playlog", Play(4, runs=6).log())
    out = tmp_path / "it's a folder"
    files = export_parquet(study, out)
    assert len(files) == 14 + 13
    events = dataset.dataset(out / "events", partitioning="hive")
    at = events.to_table(
        filter=(dataset.field("kind") == "at") & (dataset.field("game") == "moth_run"), columns=["_run", "_at_us"]
    )
    expected = rows(study, "SELECT run_id, at_us FROM position_events ORDER BY at_us, run_id")
    assert (
        sorted(zip(at["_run"].to_pylist(), at["_at_us"].to_pylist(), strict=True), key=lambda r: (r[1], r[0]))
        == expected
    )
    # Fields are the game's own, also where another kind lacks them.
    mood = parquet.read_table(out / "events" / "game=moth_run" / "kind=mood", partitioning=None)
    assert {"deep", "small", "odd"} <= set(mood.column_names)
    table = next(row[0] for row in rows(study, "SELECT table_name FROM kinds WHERE kind = 'mood'"))
    assert mood["deep"].to_pylist() == [row[0] for row in rows(study, f"SELECT deep FROM {table}")]
    runs = parquet.read_table(out / "runs.parquet").sort_by("run_id")
    picked = ["run_id", "player", "alive_us", "ending", "damaged"]
    assert runs.select(picked).to_pylist() == [
        dict(zip(picked, row, strict=True))
        for row in rows(study, f"SELECT {', '.join(picked)} FROM runs ORDER BY run_id")
    ]
    with pytest.raises(StudyError, match="there already"):
        export_parquet(study, out)


def test_names_from_logs_do_not_become_paths(study: Study, tmp_path: Path) -> None:
    line = dictionary({"at": (None, {"x": "u8"})})
    line["dictionary"]["game"] = "../../evil' game"
    imported(study, tmp_path / "a.playlog", [line, event(1, "at", x=1)])
    files = export_parquet(study, tmp_path / "out")
    assert all(file.resolve().is_relative_to((tmp_path / "out").resolve()) for file in files)
    assert [file.parent.parent.name for file in files if "events" in file.parts] == ["game=evil_game"]
