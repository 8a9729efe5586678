"""A capture that is forgotten leaves the study as it was before its log came."""

from pathlib import Path

import pytest

from ingest.said.forgetting import forget_capture
from ingest.said.notes import note_run
from ingest.study.removal import OF_RUNS
from ingest.study.store import Status, import_log, open_study

DEMO = Path(__file__).parents[2] / "demo_logs"
FIRST, SECOND, OTHER = (
    DEMO / f"{name}.playlog" for name in ("tin_drizzle_a_table1", "tin_drizzle_b_table1", "crate_loft_a_table1")
)


@pytest.fixture
def study(tmp_path):
    with open_study(tmp_path / "s.duckdb") as study:
        import_log(study, FIRST)
        yield study


def state(study):
    """Every row of every table, but for the moments of import and notes."""
    tables = study.connection.execute("SELECT schema_name, table_name FROM duckdb_tables()").fetchall()
    return {
        (schema, name): sorted(
            repr(row) for row in study.connection.execute(f'SELECT * FROM {schema}."{name}"').fetchall()
        )
        for schema, name in tables
        if name != "run_notes"
    }


@pytest.mark.parametrize("log", [SECOND, OTHER], ids=["same game", "another game"])
def test_all_is_as_before_and_the_log_can_come_again(study, log):
    before = state(study)
    came = import_log(study, log)
    with_it = state(study)
    assert with_it != before
    forget_capture(study, came.capture_id)
    after = state(study)
    assert {table: rows for table, rows in after.items() if rows or table in before} == before
    # Views over the events of a game that is gone still answer.
    assert study.connection.execute("SELECT count(*) FROM press_events").fetchall()[0][0] >= 0
    again = import_log(study, log)
    assert (again.status, again.runs, again.events) == (Status.NEW, came.runs, came.events)
    strip = lambda rows: {table: len(lines) for table, lines in rows.items()}  # noqa: E731
    assert strip(state(study)) == strip(with_it)


def test_notes_outlive_it(study):
    came = import_log(study, SECOND)
    key = study.connection.execute(
        "SELECT capture_key FROM captures WHERE capture_id = ?", [came.capture_id]
    ).fetchall()[0][0]
    note_run(study.connection, key, 1, player="P77")
    forget_capture(study, came.capture_id)
    assert study.connection.execute("SELECT count(*) FROM runs WHERE player = 'P77'").fetchall() == [(0,)]
    import_log(study, SECOND)
    assert study.connection.execute("SELECT count(*) FROM runs WHERE player = 'P77'").fetchall() == [(1,)]


def test_every_table_with_rows_of_runs_is_known(study):
    found = study.connection.execute(
        "SELECT table_name FROM duckdb_columns() JOIN duckdb_tables() USING (schema_name, table_name) "
        "WHERE schema_name = 'main' AND column_name = 'run_id'"
    ).fetchall()
    assert {name for (name,) in found} == {*OF_RUNS, "all_runs"}


def test_an_unknown_capture_is_refused_and_nothing_changes(study):
    before = state(study)
    with pytest.raises(KeyError):
        forget_capture(study, 999)
    assert state(study) == before
