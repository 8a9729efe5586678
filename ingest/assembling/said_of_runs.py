"""What the sidecar of a recording says of its runs, put into the study: whose they were, when they came, remarks."""

from itertools import pairwise
from typing import Any

import duckdb
import numpy as np

from ingest.assembling.whose import MOST_WAYS, Came, Unseen, whose
from ingest.capture.sidecar import Sidecar, arrived_at, remarks_of_runs, seconds_at
from ingest.wire.framing import Damage

# Damage is kept so far for each capture: behind the last place, anything may have been lost.
MOST_DAMAGE_ROWS = 1000
_Row = tuple[Any, ...]


def apply_sidecar(cursor: duckdb.DuckDBPyConnection, capture_id: int, sidecar: Sidecar) -> None:
    """Gives the runs of a capture times, tags and remarks of its sidecar, where they differ from what they have."""
    runs = cursor.execute(
        """SELECT run_id, start_byte, given_player, given_remark, candidates, began_at, begun, damaged, ending, deaths,
               power_up_id, start_us, end_us, withheld
           FROM all_runs WHERE capture_id = ? ORDER BY number""",
        [capture_id],
    ).fetchall()
    starts = [run[1] for run in runs]
    seconds = seconds_at(sidecar, starts)
    came = [
        Came(start, at, begun == "seen" or deaths > 0 or ending != "cut", begun == "before", damaged)
        for (_, start, _, _, _, _, begun, damaged, ending, deaths, *_), at in zip(runs, seconds, strict=True)
    ]
    found = whose(sidecar.said, came, _unseen(cursor, capture_id, runs))
    remarks = remarks_of_runs(sidecar.said, starts)
    for run, tag, candidates, spoken in zip(runs, found.players, found.candidates, remarks, strict=True):
        now = tag, "; ".join(spoken) or None, " or ".join(candidates) or None
        if run[2:5] != now and not run[13]:
            cursor.execute(
                "UPDATE all_runs SET given_player = ?, given_remark = ?, candidates = ? WHERE run_id = ?",
                [*now, run[0]],
            )
    times = arrived_at(sidecar, starts)
    if times != [run[5] for run in runs]:
        # DuckDB finds the variable by its name.
        arrived = {  # noqa: F841
            "run": np.array([run[0] for run in runs]),
            "began": np.array(times, "datetime64[us]"),
        }
        cursor.execute("UPDATE all_runs SET began_at = arrived.began FROM arrived WHERE run_id = arrived.run")


def _unseen(cursor: duckdb.DuckDBPyConnection, capture_id: int, runs: list[_Row]) -> list[Unseen]:
    """Where whole runs may be lost: two packets or events of each, and time enough for one, or for a pause."""
    lost = cursor.execute(
        "SELECT byte_offset, sum(packets)::BIGINT, max(lasted_ticks), bool_or(reason = ?) FROM damage "
        "WHERE capture_id = ? AND reason IN (?, ?, ?) GROUP BY byte_offset ORDER BY byte_offset",
        [Damage.UNREAD.value, capture_id, Damage.GAP.value, Damage.DROPPED.value, Damage.UNREAD.value],
    ).fetchall()
    ((clock_hz, kept),) = cursor.execute(
        """SELECT (SELECT min(clock_hz) FROM power_ups JOIN dictionaries USING (dictionary_id) WHERE capture_id = $1),
               (SELECT count(*) FROM damage WHERE capture_id = $1)""",
        [capture_id],
    ).fetchall()
    least = _shortest_us(runs) / 2 * (clock_hz or 0) / 1e6
    found = [
        Unseen(byte, count // 2)
        for byte, count, lasted, unread in lost
        if count > 1 and (unread or lasted is None or lasted >= least)
    ]
    if kept >= MOST_DAMAGE_ROWS and lost:
        found += [Unseen(run[1], MOST_WAYS) for run in runs if run[1] > lost[-1][0]]
    return found


def _shortest_us(runs: list[_Row]) -> int:
    """The shortest run, or pause between two, of those in which nothing was lost; 0 where there are none."""
    whole = [(run[11], run[12]) for run in runs if not run[7] and run[8] != "cut"]
    pauses = [
        after[11] - before[12]
        for before, after in pairwise(runs)
        if before[10] == after[10] and not before[7] and not after[7] and before[8] != "cut"
    ]
    return min((*(end - start for start, end in whole), *pauses), default=0)
