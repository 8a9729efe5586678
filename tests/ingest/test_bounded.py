"""What a hostile log costs: short forms of tests/bench/ingest/hostile.py, each import in a process of its own."""

from collections.abc import Sequence
from itertools import islice
from pathlib import Path

import duckdb
import numpy as np
import pytest

from ingest.assembling import places
from ingest.assembling.places import Places, Scope
from ingest.study import copies, describing, importing, store
from ingest.study.capture_counts import About
from ingest.study.store import ImportResult, Study, open_study
from ingest.wire import dictionary, session
from ingest.wire.dictionary import Dictionary
from ingest.wire.framing import Framer
from tests.bench.ingest.hostile import _AT, _GO, Packets, _plain, measured, settings_alone, write
from tests.ingest.studies import imported, rows

_MOST_MB = 500


@pytest.mark.parametrize(
    ("name", "size"),
    [("broken_frames", 3_000_000), ("many_dictionaries", 800_000), ("builds", 110_000), ("runs_without_build", 30_000)],
)
def test_memory_and_time_are_bounded(tmp_path: Path, name: str, size: int) -> None:
    found = measured(write(name, size, tmp_path), tmp_path / "s.duckdb")
    assert found["peak_mb"] < _MOST_MB
    assert found["cpu_s"] < 20


def test_nothing_is_read_after_too_many_resets(study: Study, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What came until then is there, whatever the log goes on with, and what is left out is told."""
    monkeypatch.setattr(session, "MAX_POWER_UPS", 5)
    make, game = Packets(), _plain(_GO, _AT)
    log = make.begin(game)
    ends = []
    for nonce in range(2, 12):
        log += make.settings(game.id, nonce, []) + make(4, b"\0\4ab")
        ends.append(len(log))
    result = imported(study, tmp_path / "a.playlog", log)
    assert (result.power_ups, result.runs, result.events) == (5, 4, 8)
    (told,) = [notice for notice in result.notices if notice.about is About.LIMIT]
    # The first power-up is that of the dictionary, the sixth the one of the nonce 6.
    assert told.byte_offset == ends[3] and f"{ends[3]:,}" in told.what
    imported(study, tmp_path / "b.playlog", log[: ends[3]])
    assert rows(study, "SELECT count(*), any_value(about) FROM notices WHERE about = 'limit'") == [(1, "limit")]


class _Counting:
    """A cursor that counts what it is asked."""

    def __init__(self, cursor: duckdb.DuckDBPyConnection):
        self._cursor, self.statements = cursor, 0

    def execute(self, *asked: object) -> duckdb.DuckDBPyConnection:
        self.statements += 1
        return self._cursor.execute(*asked)  # type: ignore[arg-type]


def test_so_many_power_ups_are_compared_as_a_playtest_has(
    study: Study, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every power-up of this log looks like every second other one. Each statement takes DuckDB milliseconds, however
    little it is about: what holds for all pairs is asked once."""
    compared, kinds = [], 3
    cursors: list[_Counting] = []
    find = copies.find_copies
    monkeypatch.setattr(
        store, "find_copies", lambda cursor, id_: find(cursors.append(_Counting(cursor)) or cursors[-1], id_)
    )
    same = copies._same
    monkeypatch.setattr(copies, "_same", lambda *pair: compared.append(pair[1:3]) or same(*pair))
    monkeypatch.setattr(copies, "MOST_PAIRS", 50)
    made = write("copies", 3000, tmp_path)
    result = imported(study, tmp_path / "a.playlog", made.read_bytes())
    assert result.runs > 30 and len(compared) == len(set(compared)) == 50
    assert [notice.what for notice in result.notices if notice.about is About.LIMIT] == [copies._TOO_MANY]
    assert 50 * kinds < cursors[0].statements < 50 * (kinds + 5)
    # More of one log than may share a mark are told apart by nothing else, and not compared.
    compared.clear()
    monkeypatch.setattr(copies, "_MOST_SHARING", 10)
    imported(study, tmp_path / "b.playlog", made.read_bytes() + b"\0")
    assert compared == []


def limited(result: ImportResult) -> list[int]:
    """From which bytes on something is left out, by the notices."""
    return [notice.byte_offset for notice in result.notices if notice.about is About.LIMIT]


@pytest.mark.parametrize(
    ("name", "table", "limit", "most"),
    [
        ("states", "spells", "MOST_TOLD", 200),
        ("lives", "lives", "MOST_TOLD", 200),
        ("runs", "all_runs", "MOST_RUNS", 200),
    ],
)
def test_of_too_many_events_that_runs_are_built_from_only_events_are_kept(
    study: Study, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, table: str, limit: str, most: int
) -> None:
    at_once = 50
    monkeypatch.setattr(importing, "_MOST_TOLD", at_once)
    monkeypatch.setattr(importing, limit, most)
    result = imported(study, tmp_path / "a.playlog", write(name, 6000, tmp_path).read_bytes())
    ((there,),) = rows(study, f"SELECT count(*) FROM {table}")
    assert most / 2 < there <= most + 3 * at_once
    assert len(limited(result)) == 1 and limited(result)[0] > 0
    assert (
        rows(study, "SELECT sum(estimated_size) FROM duckdb_tables() WHERE schema_name = 'events'")
        == [(result.events,)]
        and result.events > 2 * most
    )


@pytest.mark.parametrize(
    ("name", "limit", "most"), [("builds", "MOST_BUILDS", 20), ("wide_builds", "MOST_VALUES", 2600)]
)
def test_of_too_many_builds_the_values_of_later_ones_are_left_out(
    study: Study, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, limit: str, most: int
) -> None:
    """No run is lost: those of further builds are of one whose values are not known."""
    monkeypatch.setattr(describing, limit, most)
    result = imported(study, tmp_path / "a.playlog", write(name, 20_000, tmp_path).read_bytes())
    wide = 255 if name == "wide_builds" else 1
    ((builds, values),) = rows(study, "SELECT (SELECT count(*) FROM builds), (SELECT count(*) FROM tunables)")
    assert builds == most // wide + 1 and values == wide * builds
    assert result.runs > 2 * builds and len(limited(result)) == 1
    assert rows(study, "SELECT count(DISTINCT build_id) FROM all_runs") == [(builds,)]


def test_a_new_build_does_not_write_out_its_dictionary_again(
    study: Study, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A dictionary may have thousands of lines, and a log thousands of builds."""
    log = write("builds", 8000, tmp_path).read_bytes()
    written: list[Dictionary] = []
    lines = dictionary._lines
    monkeypatch.setattr(dictionary, "_lines", lambda one: written.append(one) or lines(one))
    imported(study, tmp_path / "a.playlog", log)
    assert rows(study, "SELECT count(*) > 100 FROM builds") == [(True,)] and len(written) < 5


def test_settings_that_no_dictionary_follows_are_kept_up_to_a_number(monkeypatch: pytest.MonkeyPatch) -> None:
    """The newest stand in the place of the last that is kept."""
    monkeypatch.setattr(session, "_MOST_SETTINGS", 40)
    followed = session.Session()
    followed.feed(Framer().feed(next(islice(settings_alone(), 1, None))[:20_000]))
    _, (power_up,) = followed.end()
    assert len(power_up.settings) == 40


def test_of_a_run_that_changes_all_the_time_places_are_handed_over_in_parts(
    study: Study, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So that a batch costs what is in it, and not what came before; the sum of the time is the same."""
    log = write("places", 12_000, tmp_path).read_bytes()
    alive = "SELECT sum(alive_us) FROM places"
    held: list[int] = []
    given = Places._hand_over

    def hand_over(self: Places, scopes: Sequence[Scope], *rest: np.ndarray) -> None:
        held.append(len(scopes))
        given(self, scopes, *rest)

    monkeypatch.setattr(Places, "_hand_over", hand_over)
    monkeypatch.setattr(importing, "_MOST_TOLD", 50)
    imported(study, tmp_path / "a.playlog", log)
    whole, most = rows(study, alive), max(held)
    with open_study(tmp_path / "parts.duckdb") as parts:
        monkeypatch.setattr(places, "_MOST_SCOPES", 100)
        held.clear()
        imported(parts, tmp_path / "b.playlog", log)
        assert rows(parts, alive) == whole != [(None,)]
    assert max(held) <= 100 + 3 * 50 < most


def test_frames_that_are_none_are_counted_all_and_kept_as_numbers() -> None:
    found = Framer().feed(b"\x01\0" * 350_000)
    assert found.bad_offset.nbytes + found.bad_code.nbytes < 4_000_000 and len(found.bad_reason) == 350_000


def test_damage_after_a_reset_marks_no_run_before_it(study: Study, tmp_path: Path) -> None:
    """A run is cut by a reset; then events are dropped, frames broken and packets missing, before the next run."""
    make, game = Packets(), _plain(_GO, _AT)
    log = make.begin(game) + make(4, b"\0\4ab", 10)
    log += make(3, game.id.to_bytes(2, "little") + b"\2\0\0\0", 20, dropped=7)
    log += b"\x01\0" * 3 + make(1, b"\4ab", 30, dropped=7, step=5)
    result = imported(study, tmp_path / "a.playlog", log)
    assert (result.dropped_events, result.rejected_packets, result.missing_packets) == (7, 3, 4)
    assert rows(study, "SELECT ending, damaged FROM all_runs ORDER BY number")[0] == ("cut", False)


@pytest.mark.parametrize("readable", [True, False])
def test_a_run_before_a_reset_that_lost_its_beginning_is_damaged(study: Study, tmp_path: Path, readable: bool) -> None:
    """Both power-ups begin at time 0. Where the second one's settings are lost, the end of the run may be too."""

    def marks(between: bytes, step: int, name: str) -> list[tuple[str, bool]]:
        make, game = Packets(), _plain(_GO, _AT)
        log = make.begin(game) + make(4, b"\0\4ab", 10) + make(4, b"\4ab", 5000)
        log += between or b""
        log += make(4, b"\4ab", 40, step=step) if readable else make(2, b"\xff\xff\x10\0\0\0x", 40, step=step)
        imported(study, tmp_path / name, log)
        asked = "SELECT ending, damaged FROM all_runs JOIN captures USING (capture_id) WHERE name = ? AND number = 1"
        return rows(study, asked, name)

    settings = Packets().settings(_plain(_GO, _AT).id, 2, [], time=0)
    assert marks(settings, 1, "whole.playlog") == [("cut", False)]
    assert marks(b"", 7, "torn.playlog") == [("cut", True)]
    if readable:
        assert marks(b"", 1, "ran_back.playlog") == [("cut", False)], "the clock ran back, and the sequence went on"
