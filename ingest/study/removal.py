"""Deletes what one capture brought into a study: before the capture is forgotten, or replaced by one that has grown."""

import duckdb

# Every table of schema.sql that holds rows of runs, but for the runs themselves; a test compares the two.
OF_RUNS = ("places", "spells", "lives", "stages", "set_aside", "run_events")


def remove_capture(cursor: duckdb.DuckDBPyConnection, capture_id: int) -> None:
    """Deletes a capture with its events, runs and damage.

    Within a transaction that the caller began. Dictionaries and builds stay, and so do notes on the runs.
    """
    q, one = cursor.execute, {"capture": capture_id}
    ups = "(SELECT power_up_id FROM power_ups WHERE capture_id = $capture)"
    tables = q(
        "SELECT DISTINCT table_name FROM kinds WHERE dictionary_id IN "
        f"(SELECT dictionary_id FROM power_ups WHERE power_up_id IN {ups})",
        one,
    ).fetchall()
    for (table,) in tables:
        q(f"DELETE FROM {table} WHERE _power_up IN {ups}", one)
    q(f"DELETE FROM clock_stops WHERE power_up_id IN {ups}", one)
    q(f"DELETE FROM twins WHERE one IN {ups} OR other IN {ups}", one)
    for table in OF_RUNS:
        q(f"DELETE FROM {table} WHERE run_id IN (SELECT run_id FROM all_runs WHERE capture_id = $capture)", one)
    for table in ("all_runs", "power_ups", "built_roles", "damage", "notices", "captures"):
        q(f"DELETE FROM {table} WHERE capture_id = $capture", one)
