"""Of the copies of one power-up (copies.py) those runs count of which, taken together, most came through."""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass

import duckdb

from ingest.assembling.structure import STRUCTURE
from ingest.study.capture_counts import About


@dataclass(frozen=True)
class _Run:
    """A run in the time of its group of copies. One whose start was lost began before what is there of it.

    `worth`: what of it came through, the higher the better: twice the events that runs are built from, less one where
    it is damaged, and then all events.
    """

    id: int
    up: int
    capture: int
    start_us: int
    end_us: int
    worth: tuple[int, int]


def choose_copies(cursor: duckdb.DuckDBPyConnection) -> None:
    """Sets aside the runs that another copy has better, and tells of them in the notices of their captures."""
    q = cursor.execute
    q("DELETE FROM set_aside")
    q("DELETE FROM copies")
    q("DELETE FROM notices WHERE about = ?", [About.COPY.value])
    groups = _groups(q("SELECT one, other, shift_us FROM twins ORDER BY ALL").fetchall())
    if not groups:
        return
    sha256 = dict(q("SELECT power_up_id, sha256 FROM power_ups JOIN captures USING (capture_id)").fetchall())
    for group in groups:
        lead = min(group, key=lambda up: (sha256[up], up))
        rows = [[up, lead, shift_us - group[lead]] for up, shift_us in group.items()]
        cursor.executemany("INSERT INTO copies VALUES (?, ?, ?)", rows)
    runs = _runs(cursor, groups)
    whole: dict[int, int] = defaultdict(int)  # how much of each power-up came through
    for run in (run for group_runs in runs for run in group_runs):
        whole[run.up] += run.worth[1]
    aside: list[tuple[int, int]] = []
    twice: dict[int, list[bool]] = defaultdict(list)  # by capture, of each run that another holds too: does it count?
    others: dict[int, set[int]] = defaultdict(set)
    for stretch in _stretches(runs):
        best = _best(stretch, lambda run: (whole[run.up], sha256[run.up], run.up))
        captures = {run.capture for run in stretch}
        for capture in captures:
            others[capture] |= captures - {capture}
        counting = sorted(best, key=lambda run: run.start_us)
        for run in stretch:
            twice[run.capture].append(run in best)
            if run not in best:
                aside.append((run.id, _counts_for(run, counting).id))
    if aside:
        cursor.executemany("INSERT INTO set_aside VALUES (?, ?)", aside)
    for capture_id, counts in twice.items():
        _tell(cursor, capture_id, counts, others[capture_id])


def _groups(twins: list[tuple[int, int, int]]) -> list[dict[int, int]]:
    """Power-ups that are copies of one, each with its time relative to the first of them."""
    beside: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for one, other, shift_us in twins:
        beside[one].append((other, shift_us))
    found: list[dict[int, int]] = []
    seen: set[int] = set()
    for start in sorted(beside):
        if start in seen:
            continue
        group, waiting = {start: 0}, [start]
        while waiting:
            one = waiting.pop()
            for other, shift_us in beside[one]:
                if other not in group:
                    group[other] = group[one] + shift_us
                    waiting.append(other)
        seen |= set(group)
        found.append(group)
    return found


def _runs(cursor: duckdb.DuckDBPyConnection, groups: list[dict[int, int]]) -> list[list[_Run]]:
    """The runs of each group, by their start."""
    _count_events(cursor, [up for group in groups for up in group])
    asked = """
        SELECT r.run_id, r.power_up_id, r.capture_id, r.start_us - (r.begun <> 'seen')::BIGINT, r.end_us, r.damaged,
            e.structural, e.events
        FROM all_runs r JOIN run_events e USING (run_id) WHERE r.power_up_id = ?"""
    found = []
    for group in groups:
        own = [
            _Run(run, up, capture, start - group[up], end - group[up], (2 * structural - damaged, events))
            for up_id in group
            for run, up, capture, start, end, damaged, structural, events in cursor.execute(asked, [up_id]).fetchall()
        ]
        found.append(sorted(own, key=lambda run: (run.start_us, run.end_us, run.id)))
    return found


def _count_events(cursor: duckdb.DuckDBPyConnection, power_ups: list[int]) -> None:
    """Counts the events of the runs of these power-ups, where that was not done before."""
    q = cursor.execute
    new = (
        "SELECT run_id FROM all_runs WHERE list_contains($ups::BIGINT[], power_up_id) AND run_id NOT IN "
        "(SELECT run_id FROM run_events)"
    )
    runs = [run for (run,) in q(new, {"ups": power_ups}).fetchall()]
    if not runs:
        return
    counted: dict[int, list[int]] = {run: [0, 0] for run in runs}
    tables = q(
        "SELECT DISTINCT k.table_name, k.role FROM kinds k JOIN power_ups p USING (dictionary_id) "
        "WHERE list_contains($ups::BIGINT[], p.power_up_id)",
        {"ups": power_ups},
    ).fetchall()
    for table, role in tables:
        asked = f"SELECT _run, count(*) FROM {table} WHERE _run IN (SELECT unnest($runs::BIGINT[])) GROUP BY _run"
        for run, events in q(asked, {"runs": runs}).fetchall():
            counted[run][0] += events if role in STRUCTURE else 0
            counted[run][1] += events
    cursor.executemany("INSERT INTO run_events VALUES (?, ?, ?)", [[run, *both] for run, both in counted.items()])


def _stretches(groups: list[list[_Run]]) -> list[list[_Run]]:
    """Runs of several copies that lie over each other in time. Those that only one copy has are left out.

    What is one run in one copy, damage may have made two in another.
    """
    found: list[list[_Run]] = []
    for runs in groups:
        begun, over = 0, -1
        stretch: list[_Run] = []
        for run in [*runs, None]:
            if run is not None and stretch and (run.start_us < over or run.start_us == begun):
                stretch.append(run)
                over = max(over, run.end_us)
                continue
            if len({one.up for one in stretch}) > 1:
                found.append(stretch)
            if run is not None:
                stretch, begun, over = [run], run.start_us, run.end_us
    return found


def _best(stretch: list[_Run], rank: Callable[[_Run], tuple[int, str, int]]) -> set[_Run]:
    """Runs that do not lie over each other, those of which, taken together, most came through.

    So one run that damage made of two gives way to the two of another copy. Of equal ones those of the power-up with
    the highest `rank` are taken. Weighted interval scheduling: over the runs by their end, the best set up to each.
    """
    ranked = {up: n for n, up in enumerate(dict.fromkeys(run.up for run in sorted(stretch, key=rank)))}
    runs = sorted(stretch, key=lambda run: (run.end_us, run.start_us, ranked[run.up], run.id))
    # A run without any time lies over what begins when it does.
    ends = [max(run.end_us, run.start_us + 1) for run in runs]
    runs = [run for _, run in sorted(zip(ends, runs, strict=True), key=lambda pair: pair[0])]
    ends.sort()
    worth: list[tuple[int, ...]] = [(0, 0, 0)]
    chosen: list[tuple[int, bool]] = [(0, False)]
    for n, run in enumerate(runs):
        before = bisect_right(ends, run.start_us, 0, n)
        with_it = tuple(map(sum, zip(worth[before], (*run.worth, ranked[run.up]), strict=True)))
        take = with_it > worth[n]
        worth.append(with_it if take else worth[n])
        chosen.append((before if take else n, take))
    best: set[_Run] = set()
    at = len(runs)
    while at:
        before, take = chosen[at]
        if take:
            best.add(runs[at - 1])
        at = before
    return best


def _counts_for(run: _Run, counting: list[_Run]) -> _Run:
    """Of runs that do not lie over each other, by their start, the one with which `run` shares most of its time."""
    # Those that begin in it, the last one before, and the nearest behind it.
    first = max(0, bisect_left(counting, run.start_us, key=lambda one: one.start_us) - 1)
    behind = bisect_right(counting, run.end_us, first, key=lambda one: one.start_us) + 1
    return max(counting[first:behind], key=lambda one: (_shared(one, run), -one.start_us))


def _shared(one: _Run, other: _Run) -> int:
    """How long two runs lie over each other."""
    return min(one.end_us, other.end_us) - max(one.start_us, other.start_us)


def _tell(cursor: duckdb.DuckDBPyConnection, capture_id: int, counts: list[bool], others: set[int]) -> None:
    asked = "SELECT name FROM captures WHERE list_contains($others::INTEGER[], capture_id) ORDER BY name, sha256"
    names = [name for (name,) in cursor.execute(asked, {"others": sorted(others)}).fetchall()]
    also = f"in {', '.join(names)} too" if names else "in it twice"
    runs = f"{len(counts):,} of its runs {'is' if len(counts) == 1 else 'are'}"
    what = (
        f"{runs} {also}: copies of one power-up. Each counts once, from the copy in which more of it came through: "
        f"{sum(counts):,} from this log."
    )
    remedy = "Nothing need be done; `setscrew forget` takes a copy out of the study."
    cursor.execute("INSERT INTO notices VALUES (?, 0, ?, ?, ?)", [capture_id, About.COPY.value, what, remedy])
