"""The numbers of a log's power-ups, runs, stages and lives.

They follow from its own bytes, not from what came before it: so a study is the same in whatever order its logs came.
"""

import duckdb

# 24 bits tell the log, 29 count within it: together what a double holds exactly, as JSON readers have it.
_LOGS, PER_LOG = 1 << 24, 1 << 29


def base_of(cursor: duckdb.DuckDBPyConnection, sha256: str) -> int:
    """The number before the first ones of a log that has not been imported yet. Where two logs would have the same (one
    pair in 16 million), the later one takes the next that is free."""
    slot = int(sha256[:6], 16)
    taken = "SELECT 1 FROM power_ups WHERE power_up_id BETWEEN ? AND ? LIMIT 1"
    while cursor.execute(taken, [slot * PER_LOG, (slot + 1) * PER_LOG - 1]).fetchall():
        slot = (slot + 1) % _LOGS
    return slot * PER_LOG


def base_kept(cursor: duckdb.DuckDBPyConnection, capture_id: int) -> int | None:
    """The number before the first ones of a capture that the study holds; None where it holds no power-up."""
    asked = "SELECT min(power_up_id) FROM power_ups WHERE capture_id = ?"
    found = cursor.execute(asked, [capture_id]).fetchall()[0][0]
    return None if found is None else found // PER_LOG * PER_LOG
