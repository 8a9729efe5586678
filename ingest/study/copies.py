"""Copies of one power-up: recognised by what happened in it. Of each stretch the better one counts (better_copy.py).

A log may come twice: copied, and damaged on the way in front, in the middle or at the end. Two power-ups are copies of
one where their dictionary and nonce are the same, at least half of the events that both should have are the same, to
the tick, and each lost something at the places where only the other has events. A nonce alone says nothing: many boards
count theirs from 1. Nor do a song's notes: two consoles play it alike, and what their players press is their own.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import duckdb

from ingest.assembling.said_of_runs import MOST_DAMAGE_ROWS
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
    WITH own AS (SELECT * FROM all_runs WHERE NOT withheld), marks AS (
        SELECT power_up_id, start_us AS at_us, hash('start', logged_player, seed) AS what FROM own
        UNION SELECT power_up_id, end_us, hash('end', ending, score) FROM own WHERE ending <> 'cut'
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
# Of power-ups: their first and last time, how many places of their logs lost something, and whether runs are withheld.
# What the recorder dropped is in no copy.
_POWER_UPS = """
    WITH lost AS (
        SELECT capture_id, count(*) AS rows, count(*) FILTER (reason <> $dropped) AS places,
            sum(packets) FILTER (reason = $unread) AS unread
        FROM damage GROUP BY capture_id
    )
    SELECT power_up_id, p.first_us, p.last_us, coalesce(l.unread, 0) + greatest(coalesce(l.places, 0),
        CASE WHEN l.rows >= $most THEN c.rejected_packets + c.missing_packets + c.newer_packets END),
        EXISTS (FROM all_runs r WHERE r.power_up_id = p.power_up_id AND r.withheld)
    FROM power_ups p JOIN captures c USING (capture_id) LEFT JOIN lost l USING (capture_id)
    WHERE power_up_id IN (SELECT unnest($ups::BIGINT[]))"""
# The table of each kind of a game, and the field that says how much earlier or later its events were than they came.
_TABLES = """
    SELECT k.number, k.table_name,
        any_value(f.field) FILTER (f.role = 'ago'), any_value(f.field) FILTER (f.role = 'ahead')
    FROM kinds k LEFT JOIN fields f ON f.dictionary_id = k.dictionary_id AND f.kind = k.kind
    WHERE k.dictionary_id = ? GROUP BY ALL"""

# Of a run that is withheld one copy has nothing, though it lost nothing.
_LEAVE_OUT_WITHHELD = """
    DELETE FROM compared WHERE EXISTS (FROM all_runs r WHERE r.withheld AND (
        (r.power_up_id = $one AND at_us BETWEEN r.start_us AND r.end_us)
        OR (r.power_up_id = $other AND at_us + $shift BETWEEN r.start_us AND r.end_us)))"""


@dataclass(frozen=True)
class _PowerUp:
    id: int
    first_us: int
    last_us: int
    lost: int  # places at which its log lost something
    withheld: bool  # some of its runs are


@dataclass(frozen=True)
class _Game:
    clock_hz: int
    kinds: Sequence[tuple[int, str, str | None, str | None]]  # number, table, fields of the roles ago and ahead


def find_copies(cursor: duckdb.DuckDBPyConnection, capture_id: int) -> None:
    """Notes which power-ups are copies of those of a capture that has just come; a notice says so where more look like
    copies than are compared."""
    q = cursor.execute
    asked = {"capture": capture_id, "most": MOST_PAIRS + 1}
    found = q(_MARKS, asked | {"wrap": _WRAP, "sharing": _MOST_SHARING}).fetchall()
    marked = {pair[:2] for pair in found}
    found += [pair for pair in q(_WITHOUT_MARKS, asked).fetchall() if pair[:2] not in marked]
    said = {"dropped": Damage.DROPPED.value, "unread": Damage.UNREAD.value, "most": MOST_DAMAGE_ROWS}
    ids = sorted({up for pair in found for up in pair[:2]})
    ups = {row[0]: _PowerUp(*row) for row in q(_POWER_UPS, said | {"ups": ids}).fetchall()} if ids else {}
    games = {id_: _game(cursor, id_) for id_ in sorted({pair[3] for pair in found})}
    looked_into = 0
    for compared, (one, other, shift_us, dictionary_id, nonces) in enumerate(found):
        game = games[dictionary_id]
        looked_into += len(game.kinds)
        if compared >= MOST_PAIRS or looked_into > MOST_TABLES:
            q("INSERT INTO notices VALUES (?, 0, ?, ?, ?)", [capture_id, About.LIMIT.value, _TOO_MANY, _FORGET])
            return
        if _same(cursor, ups[one], ups[other], shift_us, game, 1 if nonces else _WITHOUT_NONCE):
            q("INSERT INTO twins VALUES (?, ?, ?), (?, ?, ?)", [one, other, shift_us, other, one, -shift_us])


def _game(cursor: duckdb.DuckDBPyConnection, dictionary_id: int) -> _Game:
    asked = "SELECT clock_hz FROM dictionaries WHERE dictionary_id = ?"
    ((clock_hz,),) = cursor.execute(asked, [dictionary_id]).fetchall()
    return _Game(int(clock_hz), cursor.execute(_TABLES, [dictionary_id]).fetchall())


def _same(
    cursor: duckdb.DuckDBPyConnection, one: _PowerUp, other: _PowerUp, shift_us: int, game: _Game, least: int
) -> bool:
    """Whether half of the events that both power-ups should have are the same, hardly any are at the same time but
    otherwise, and what only one has is what the other lost; `other` counts its time from `shift_us` earlier."""
    begin = max(one.first_us, other.first_us - shift_us)
    end = min(one.last_us, other.last_us - shift_us)
    asked = {"one": one.id, "other": other.id, "shift": shift_us, "begin": begin, "end": end}
    _compare(cursor, asked, game)
    if one.withheld or other.withheld:
        cursor.execute(_LEAVE_OUT_WITHHELD, {"one": one.id, "other": other.id, "shift": shift_us})
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
    # Whole microseconds do not tell the same of both where one began after the clock wrapped, and that shifts it by a
    # broken number of them.
    exact = not shift_us or _WRAP * 1_000_000 % game.clock_hz == 0
    return not exact or _lost_what_the_other_has(cursor, one, other, begin, end)


def _compare(cursor: duckdb.DuckDBPyConnection, asked: dict[str, int], game: _Game) -> None:
    """Fills the table `compared` with the events that were logged while both power-ups were there. Side 1: only `one`
    has it, 2: only `other`, 3: both. No field of a game begins with an underscore."""
    q = cursor.execute
    q("CREATE OR REPLACE TEMP TABLE compared (kind INTEGER, at_us BIGINT, logged_us BIGINT, side TINYINT)")
    for number, table, ago, ahead in game.kinds:
        later = f'+ coalesce("{ago}", 0)' if ago else f'- coalesce("{ahead}", 0)' if ahead else "+ 0"
        events = f"""SELECT * EXCLUDE (_power_up, _run, _stage),
            _at_us + (0::HUGEINT {later}) * 1000000 // {game.clock_hz} AS _logged FROM {table} WHERE _power_up ="""
        q(
            f"""INSERT INTO compared
            WITH a AS (SELECT *, 1 AS _side FROM ({events} $one) WHERE _logged BETWEEN $begin AND $end),
                b AS (SELECT * REPLACE (_at_us - $shift AS _at_us, _logged - $shift AS _logged), 2 AS _side
                    FROM ({events} $other) WHERE _logged - $shift BETWEEN $begin AND $end),
                part AS (SELECT greatest(1, (SELECT count(*) FROM a) // {_COMPARED}) AS of),
                events AS (SELECT * EXCLUDE (_side), bit_or(_side) AS _side FROM (FROM a UNION ALL FROM b)
                    WHERE hash(_at_us) % (SELECT of FROM part) = 0 GROUP BY ALL)
            SELECT {number}, _at_us, _logged, _side FROM events""",
            asked,
        )


def _lost_what_the_other_has(
    cursor: duckdb.DuckDBPyConnection, one: _PowerUp, other: _PowerUp, begin: int, end: int
) -> bool:
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
    return all(own <= 2 * lost for own, lost in zip(bursts, (other.lost, one.lost), strict=True))
