"""Copies of one power-up: recognised by what happened in it, and of each stretch of it the better copy counts.

A log may come twice: copied, and damaged on the way in front, in the middle or at the end. Two power-ups are copies of
one where their dictionary and nonce are the same, at least half of the events that both should have are the same, to
the tick, and each lost something at the places where only the other has events. A nonce alone says nothing: many boards
count theirs from 1. Nor do a song's notes: two consoles play it alike, and what their players press is their own.
"""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass

import duckdb

from ingest.assembling.said_of_runs import MOST_DAMAGE_ROWS
from ingest.assembling.structure import STRUCTURE
from ingest.study.capture_counts import About
from ingest.wire.framing import Damage

_WRAP = 1 << 32
# So many events of a kind are compared; of more an even part, the same in both copies.
_COMPARED = 200_000
# Of so many moments at which both have an event of one kind, these may differ at one: damage that passed as sound.
_OTHERWISE = 50
# Without a nonce to tell consoles apart, so many events at least must be the same.
_WITHOUT_NONCE = 3
# A mark that more power-ups of one log share tells none of them from the others.
_MOST_SHARING = 100
# Pairs of power-ups that are compared when a log comes, those with most marks in common first, and tables of kinds that
# are looked into for that. A log that was copied ten times has ten pairs for each of its power-ups.
MOST_PAIRS = 200
MOST_TABLES = 4_000
_TOO_MANY = "More of its power-ups look like copies of others than are compared for one log: some runs may count twice."
_FORGET = "Cut the log into its sessions, and take copies of it out of the study with `setscrew forget`."
# What a run is known by again: when it started and ended, its stages and its deaths. Of clocks faster than 1 MHz only
# microseconds are kept, so that ticks are compared roughly.
_MARKS = """
    WITH marks AS (
        SELECT power_up_id, start_us AS at_us, hash('start', logged_player, seed) AS what FROM all_runs
        UNION SELECT power_up_id, end_us, hash('end', ending, score) FROM all_runs WHERE ending <> 'cut'
        UNION SELECT r.power_up_id, s.start_us, hash('stage', s.stage, s.stage_kind, s.song)
        FROM stages s JOIN all_runs r USING (run_id)
        UNION SELECT r.power_up_id, l.end_us, hash('death', l.x, l.y, l.cause)
        FROM lives l JOIN all_runs r USING (run_id) WHERE l.died
    ), ticked AS (
        SELECT p.power_up_id, p.capture_id, p.dictionary_id, p.nonce, m.at_us, m.what,
            (m.at_us::HUGEINT * d.clock_hz + 999999) // 1000000 % $wrap
                // CASE WHEN d.clock_hz > 1000000 THEN 256 ELSE 1 END AS tick
        FROM marks m JOIN power_ups p USING (power_up_id) JOIN dictionaries d USING (dictionary_id)
        WHERE dictionary_id IN (SELECT dictionary_id FROM power_ups WHERE capture_id = $capture)
        QUALIFY count(*) OVER (PARTITION BY p.capture_id, p.dictionary_id, what, tick) <= $sharing
    )
    SELECT m.power_up_id, o.power_up_id, mode(o.at_us - m.at_us),
        any_value(m.dictionary_id), any_value(m.nonce IS NOT NULL AND o.nonce IS NOT NULL)
    FROM ticked m JOIN ticked o ON o.dictionary_id = m.dictionary_id AND o.what = m.what AND o.tick = m.tick
        AND (o.nonce = m.nonce OR o.nonce IS NULL OR m.nonce IS NULL)
    WHERE m.capture_id = $capture AND (o.capture_id <> m.capture_id OR m.power_up_id < o.power_up_id)
    GROUP BY m.power_up_id, o.power_up_id ORDER BY count(*) DESC, m.power_up_id, o.power_up_id LIMIT $most"""
# What is left of a run without its start may hold nothing of all that: it is compared by its power-up's nonce.
_WITHOUT_MARKS = """
    SELECT m.power_up_id, o.power_up_id, 0, m.dictionary_id, true
    FROM power_ups m JOIN power_ups o USING (dictionary_id, nonce)
    WHERE m.capture_id = $capture AND o.capture_id <> m.capture_id
        AND m.first_us <= o.last_us AND o.first_us <= m.last_us AND EXISTS (
            FROM all_runs r WHERE r.power_up_id IN (m.power_up_id, o.power_up_id) AND r.begun <> 'seen')
    ORDER BY ALL LIMIT $most"""


def find_copies(cursor: duckdb.DuckDBPyConnection, capture_id: int) -> None:
    """Notes which power-ups are copies of those of a capture that has just come; a notice says so where more look like
    copies than are compared."""
    q = cursor.execute
    asked = {"capture": capture_id, "most": MOST_PAIRS + 1}
    found = q(_MARKS, asked | {"wrap": _WRAP, "sharing": _MOST_SHARING}).fetchall()
    marked = {pair[:2] for pair in found}
    found += [pair for pair in q(_WITHOUT_MARKS, asked).fetchall() if pair[:2] not in marked]
    tables = dict(q("SELECT dictionary_id, count(*) FROM kinds GROUP BY dictionary_id").fetchall())
    looked_into = 0
    for compared, (one, other, shift_us, dictionary_id, nonces) in enumerate(found):
        looked_into += tables[dictionary_id]
        if compared >= MOST_PAIRS or looked_into > MOST_TABLES:
            q("INSERT INTO notices VALUES (?, 0, ?, ?, ?)", [capture_id, About.LIMIT.value, _TOO_MANY, _FORGET])
            return
        if _same(cursor, one, other, shift_us, dictionary_id, 1 if nonces else _WITHOUT_NONCE):
            q("INSERT INTO twins VALUES (?, ?, ?), (?, ?, ?)", [one, other, shift_us, other, one, -shift_us])


def _same(
    cursor: duckdb.DuckDBPyConnection, one: int, other: int, shift_us: int, dictionary_id: int, least: int
) -> bool:
    """Whether half of the events that both power-ups should have are the same, hardly any are at the same time but
    otherwise, and what only one has is what the other lost; `other` counts its time from `shift_us` earlier."""
    begin, end = _compare(cursor, one, other, shift_us, dictionary_id)
    (same, alone, other_alone, ticks, otherwise) = cursor.execute(
        """WITH moments AS (
            SELECT bool_or(side <> 2) AND bool_or(side <> 1) AS of_both, bool_or(side = 3) AS same
            FROM compared GROUP BY kind, at_us
        )
        SELECT count(*) FILTER (side = 3), count(*) FILTER (side = 1), count(*) FILTER (side = 2),
            (SELECT count(*) FROM moments WHERE of_both), (SELECT count(*) FROM moments WHERE of_both AND NOT same)
        FROM compared"""
    ).fetchall()[0]
    if same < least or 2 * same < same + min(alone, other_alone) or _OTHERWISE * otherwise > ticks:
        return False
    return not _exact(cursor, dictionary_id, shift_us) or _lost_what_the_other_has(cursor, one, other, begin, end)


def _compare(
    cursor: duckdb.DuckDBPyConnection, one: int, other: int, shift_us: int, dictionary_id: int
) -> tuple[int, int]:
    """Fills the table `compared` with the events that were logged while both power-ups were there, and says when that
    was. Side 1: only `one` has it, 2: only `other`, 3: both."""
    q = cursor.execute
    asked = "SELECT first_us, last_us FROM power_ups WHERE power_up_id = ?"
    (first, last), (other_first, other_last) = (q(asked, [up]).fetchall()[0] for up in (one, other))
    begin, end = max(first, other_first - shift_us), min(last, other_last - shift_us)
    common = {"one": one, "other": other, "shift": shift_us, "begin": begin, "end": end}
    q("CREATE OR REPLACE TEMP TABLE compared (kind INTEGER, at_us BIGINT, logged_us BIGINT, side TINYINT)")
    kinds = q(
        """SELECT k.number, k.table_name, d.clock_hz,
               any_value(f.field) FILTER (f.role = 'ago'), any_value(f.field) FILTER (f.role = 'ahead')
           FROM kinds k JOIN dictionaries d USING (dictionary_id)
           LEFT JOIN fields f ON f.dictionary_id = k.dictionary_id AND f.kind = k.kind
           WHERE k.dictionary_id = ? GROUP BY ALL""",
        [dictionary_id],
    ).fetchall()
    for number, table, clock_hz, ago, ahead in kinds:
        later = f'+ coalesce("{ago}", 0)' if ago else f'- coalesce("{ahead}", 0)' if ahead else "+ 0"
        events = f"""SELECT * EXCLUDE (_power_up, _run, _stage),
            _at_us + (0::HUGEINT {later}) * 1000000 // {clock_hz} AS logged FROM {table} WHERE _power_up ="""
        q(
            f"""INSERT INTO compared
            WITH a AS (FROM ({events} $one) WHERE logged BETWEEN $begin AND $end),
                b AS (SELECT * REPLACE (_at_us - $shift AS _at_us, logged - $shift AS logged) FROM ({events} $other)
                    WHERE logged - $shift BETWEEN $begin AND $end),
                part AS (SELECT greatest(1, (SELECT count(*) FROM a) // {_COMPARED}) AS of),
                c AS (FROM a WHERE hash(_at_us) % (SELECT of FROM part) = 0),
                d AS (FROM b WHERE hash(_at_us) % (SELECT of FROM part) = 0)
            SELECT {number}, _at_us, logged, 1 FROM (FROM c EXCEPT FROM d)
            UNION ALL SELECT {number}, _at_us, logged, 2 FROM (FROM d EXCEPT FROM c)
            UNION ALL SELECT {number}, _at_us, logged, 3 FROM (FROM c INTERSECT FROM d)""",
            common,
        )
    return begin, end


def _exact(cursor: duckdb.DuckDBPyConnection, dictionary_id: int, shift_us: int) -> bool:
    """Whether whole microseconds tell the same of both: not where one began after the clock wrapped, and that shifts it
    by a broken number of them."""
    asked = "SELECT clock_hz FROM dictionaries WHERE dictionary_id = ?"
    ((clock_hz,),) = cursor.execute(asked, [dictionary_id]).fetchall()
    return not shift_us or _WRAP * 1_000_000 % int(clock_hz) == 0


def _lost_what_the_other_has(cursor: duckdb.DuckDBPyConnection, one: int, other: int, begin: int, end: int) -> bool:
    """Whether each log lost something at as many places as the other has events of its own.

    A copy lacks what stood in lost packets, so that between two of its events either all is there or one stretch is
    missing. Two consoles that play the same song have as many such stretches as their players press. Where two packets
    meet in one tick, one place may look like two stretches. The first and the last tick may have been cut through.
    """
    bursts = cursor.execute(
        """WITH moments AS (
            SELECT logged_us, bool_or(side = 1) AS one, bool_or(side = 2) AS other, bool_or(side = 3) AS shared
            FROM compared GROUP BY logged_us
        ), ordered AS (
            SELECT *, lag(one AND NOT other AND NOT shared, 1, false) OVER w AS in_one,
                lag(other AND NOT one AND NOT shared, 1, false) OVER w AS in_other
            FROM moments WHERE logged_us > $begin + 1 AND logged_us < $end - 1 WINDOW w AS (ORDER BY logged_us)
        )
        SELECT count(*) FILTER (one AND NOT in_one), count(*) FILTER (other AND NOT in_other) FROM ordered""",
        {"begin": begin, "end": end},
    ).fetchall()[0]
    # What the recorder dropped is in no copy.
    places = """
        SELECT greatest((SELECT count(*) FROM damage d WHERE d.capture_id = c.capture_id AND d.reason <> $dropped),
                CASE WHEN (SELECT count(*) FROM damage d WHERE d.capture_id = c.capture_id) >= $most
                    THEN rejected_packets + missing_packets + newer_packets END)
            + coalesce((SELECT sum(packets) FROM damage d WHERE d.capture_id = c.capture_id AND d.reason = $unread), 0)
        FROM captures c JOIN power_ups p USING (capture_id) WHERE p.power_up_id = $up"""
    said = {"dropped": Damage.DROPPED.value, "unread": Damage.UNREAD.value, "most": MOST_DAMAGE_ROWS}
    lost = [cursor.execute(places, said | {"up": up}).fetchall()[0][0] for up in (other, one)]
    return all(own <= 2 * count for own, count in zip(bursts, lost, strict=True))


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
