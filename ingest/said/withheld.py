"""Takes the runs of a player who withdrew out of a study, and keeps them out when their logs are read again.

What is remembered is which runs of which logs stay out, not whose they were. Of such a run the study keeps what the
tags of the log's other runs are read by: when it began and ended, how it ended, and whether anybody died in it.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

import duckdb

from ingest.study.capture_counts import About
from ingest.study.removal import OF_RUNS
from ingest.study.settling import settle

_Run = tuple[int, int, int]  # id, number, byte of its start

# A run of which it is open whose it was goes too where it may be theirs: nobody could say so any more afterwards.
_THEIRS = """
    WITH own AS (
        SELECT run_id, open FROM runs
        WHERE (tagged AND player = $tag) OR (open AND list_contains(string_split(candidates, ' or '), $tag))
    )
    SELECT run_id, open FROM own UNION SELECT a.run_id, o.open FROM own o JOIN set_aside a ON a.counts_as = o.run_id
    ORDER BY ALL"""
_REMEMBER = """
    INSERT INTO withheld SELECT capture_key, number, start_byte, next FROM (
        SELECT r.run_id, c.capture_key, r.number, r.start_byte,
            coalesce(lead(r.start_byte) OVER (PARTITION BY r.capture_id ORDER BY r.number), c.bytes) AS next
        FROM all_runs r JOIN captures c USING (capture_id)
    ) WHERE list_contains($runs::BIGINT[], run_id)"""
# What a note gave to the player in a log that the study does not hold now.
_REMEMBER_NOTED = """
    INSERT INTO withheld SELECT capture_key, run_number, NULL, NULL FROM run_notes
    WHERE capture_key NOT IN (SELECT capture_key FROM captures) GROUP BY capture_key, run_number
    HAVING last(player ORDER BY noted_at) FILTER (player IS NOT NULL) = $tag"""
# Runs that another copy of the same power-up has, where this one is withheld in one of them.
_COPIES = """
    SELECT r.run_id FROM all_runs r JOIN twins t ON t.one = r.power_up_id
    JOIN all_runs w ON w.power_up_id = t.other AND w.withheld
    WHERE r.capture_id = $capture AND NOT r.withheld AND (r.start_us = w.start_us - t.shift_us
        OR (r.start_us < w.end_us - t.shift_us AND w.start_us - t.shift_us < r.end_us))"""
_EMPTY = """
    UPDATE all_runs SET withheld = true, logged_player = NULL, team = NULL, first_time = NULL, seed = NULL,
        alive_us = 0, deaths = least(deaths, 1), score = NULL, rating = NULL, given_player = NULL, given_remark = NULL,
        candidates = NULL
    WHERE list_contains($runs::BIGINT[], run_id)"""
_REMARKS = """
    SELECT given_remark FROM all_runs WHERE NOT list_contains($runs::BIGINT[], run_id) AND given_remark IS NOT NULL
    UNION ALL SELECT concat_ws(' ', remark, reason) FROM run_notes n WHERE NOT EXISTS (
        FROM all_runs r JOIN captures c USING (capture_id) WHERE list_contains($runs::BIGINT[], r.run_id)
            AND c.capture_key = n.capture_key AND r.number = n.run_number)"""


@dataclass(frozen=True)
class OfPlayer:
    """What a study holds of one player. `mentions`: remarks on others' runs and versions of the report's words that
    name the tag; these stay."""

    runs: tuple[int, ...]  # ids, copies among them
    counted: int  # without copies and without those that are open
    open_runs: int  # of which it is open whose they were, and which may be theirs
    captures: tuple[tuple[int, str], ...]  # the logs that these runs are in: number, name
    games: tuple[str, ...]
    notes: int
    ratings: int
    listed: bool  # groups or experience
    mentions: int

    @property
    def anything(self) -> bool:
        """Whether there is anything to take out."""
        return bool(self.runs or self.notes or self.ratings or self.listed)


def of_player(connection: duckdb.DuckDBPyConnection, tag: str) -> OfPlayer:
    """What the study holds of the player with this tag (as `player_tag` writes it)."""
    with connection.cursor() as cursor:
        q, one = cursor.execute, {"tag": tag}
        found = q(_THEIRS, one).fetchall()
        runs = [run for run, _ in found]
        held = {"runs": runs}
        captures = q(
            "SELECT DISTINCT capture_id, name FROM all_runs JOIN captures USING (capture_id) "
            "WHERE list_contains($runs::BIGINT[], run_id) ORDER BY name, capture_id",
            held,
        ).fetchall()
        counted = q("SELECT count(*) FROM runs WHERE tagged AND player = $tag", one).fetchall()[0][0]
        games = q("SELECT DISTINCT game FROM runs WHERE tagged AND player = $tag ORDER BY game", one).fetchall()
        of_runs = (
            "SELECT count(*) FROM run_notes n WHERE player = $tag OR EXISTS (FROM all_runs r JOIN captures c USING "
            "(capture_id) WHERE list_contains($runs::BIGINT[], r.run_id) AND c.capture_key = n.capture_key "
            "AND r.number = n.run_number)"
        )
        notes = q(of_runs, one | held).fetchall()[0][0]
        ratings = q("SELECT count(*) FROM ratings WHERE player = $tag", one).fetchall()[0][0]
        listed = q("SELECT count(*) FROM players WHERE player = $tag", one).fetchall()[0][0]
        said = [*q(_REMARKS, held).fetchall(), *q("SELECT words_json FROM report_words").fetchall()]
        names_it = re.compile(rf"\bP0*{int(tag[1:])}\b", re.IGNORECASE)
        return OfPlayer(
            runs=tuple(runs),
            counted=counted,
            open_runs=q(
                "SELECT count(*) FROM runs WHERE open AND list_contains($runs::BIGINT[], run_id)", held
            ).fetchall()[0][0],
            captures=tuple(captures),
            games=tuple(game for (game,) in games),
            notes=notes,
            ratings=ratings,
            listed=bool(listed),
            mentions=sum(names_it.search(text or "") is not None for (text,) in said),
        )


def withhold_player(connection: duckdb.DuckDBPyConnection, tag: str) -> OfPlayer:
    """Takes a player's runs, and all that was said of the player, out of the study; returns what that was.

    One transaction. Whatever log has these runs may come again: they stay out. Not undone by anything: only another
    study takes them in.
    """
    with connection.cursor() as cursor:
        q = cursor.execute
        q("BEGIN")
        try:
            going = of_player(cursor, tag)
            _remember(cursor, going.runs)
            q(_REMEMBER_NOTED, {"tag": tag})
            _empty(cursor, going.runs)
            q("DELETE FROM run_notes WHERE (capture_key, run_number) IN (SELECT capture_key, run_number FROM withheld)")
            q("UPDATE run_notes SET player = NULL WHERE player = ?", [tag])
            for table in ("players", "ratings"):
                q(f"DELETE FROM {table} WHERE player = ?", [tag])
            for capture_id, _ in going.captures:
                _tell(cursor, capture_id)
            settle(cursor)
            q("COMMIT")
        except BaseException:
            q("ROLLBACK")
            raise
    return going


def withhold_again(cursor: duckdb.DuckDBPyConnection, capture_id: int) -> None:
    """Empties those runs of a capture that was just read which are to stay out, also where another log has them.

    Within a transaction that the caller began, when copies are known.
    """
    q = cursor.execute
    if not q("SELECT 1 FROM withheld LIMIT 1").fetchall():
        return
    remembered = q(
        "SELECT run_number, start_byte, end_byte FROM withheld JOIN captures USING (capture_key) WHERE capture_id = ?",
        [capture_id],
    ).fetchall()
    runs = q(
        "SELECT run_id, number, start_byte FROM all_runs WHERE capture_id = ? ORDER BY number", [capture_id]
    ).fetchall()
    _empty(cursor, _meant(runs, remembered))
    copies = [run for (run,) in q(_COPIES, {"capture": capture_id}).fetchall()]
    _remember(cursor, copies)
    _empty(cursor, copies)
    _tell(cursor, capture_id)


def _meant(runs: Sequence[_Run], remembered: Sequence[tuple[int, int | None, int | None]]) -> list[int]:
    """The runs that are meant. Where a role was corrected since, a log has other runs: then all that share bytes."""
    by_number = {number: (run, start) for run, number, start in runs}
    ends = [start for *_, start in runs[1:]] + [None]
    found: set[int] = set()
    for number, begins, until in remembered:
        run, start = by_number.get(number, (None, None))
        if run is not None and begins in (None, start):
            found.add(run)
        elif begins is not None and until is not None:
            found |= {
                run
                for (run, _, start), end in zip(runs, ends, strict=True)
                if start < until and (end is None or begins < end)
            }
    return sorted(found)


def _remember(cursor: duckdb.DuckDBPyConnection, runs: Sequence[int]) -> None:
    if runs:
        cursor.execute(_REMEMBER, {"runs": list(runs)})


def _empty(cursor: duckdb.DuckDBPyConnection, runs: Sequence[int]) -> None:
    """Deletes all of these runs but for what `withheld` in schema.sql says."""
    if not runs:
        return
    q, held = cursor.execute, {"runs": list(runs)}
    tables = q(
        "SELECT DISTINCT k.table_name FROM all_runs r JOIN power_ups p USING (power_up_id) JOIN kinds k USING "
        "(dictionary_id) WHERE list_contains($runs::BIGINT[], r.run_id)",
        held,
    ).fetchall()
    for (table,) in tables:
        q(f"DELETE FROM {table} WHERE _run IN (SELECT unnest($runs::BIGINT[]))", held)
    for table in OF_RUNS:
        q(f"DELETE FROM {table} WHERE run_id IN (SELECT unnest($runs::BIGINT[]))", held)
    q(_EMPTY, held)


def _tell(cursor: duckdb.DuckDBPyConnection, capture_id: int) -> None:
    """Says in the notices of a capture how many of its runs are not there."""
    q = cursor.execute
    q("DELETE FROM notices WHERE capture_id = ? AND about = ?", [capture_id, About.WITHHELD.value])
    asked = "SELECT count(*) FROM all_runs WHERE capture_id = ? AND withheld"
    ((count,),) = q(asked, [capture_id]).fetchall()
    if not count:
        return
    what = f"{count:,} of its runs {'is' if count == 1 else 'are'} left out, since who played them withdrew."
    remedy = "The log itself still holds them: delete it where that was promised."
    q("INSERT INTO notices VALUES (?, 0, ?, ?, ?)", [capture_id, About.WITHHELD.value, what, remedy])
