"""The runs of a player who withdrew leave a study, and stay out whichever way their log comes again."""

import json
from pathlib import Path
from types import SimpleNamespace

import pytest

from ingest.said.forgetting import forget_capture
from ingest.said.notes import add_words, note_role, note_run
from ingest.said.people import take_players, take_ratings
from ingest.said.rewriting import rewrite, room_to_rewrite
from ingest.said.withheld import of_player, withhold_player
from ingest.study.capture_counts import About
from ingest.study.store import Study, import_log, open_study
from tests.ingest.studies import dictionary, event, log_of, rows

KINDS = {
    "begin": ("run_start", {"who": "u8 player"}),
    "over": ("run_end", {"how": "u8 ending"}),
    "fell": ("death", {"x": "u8 x", "why": "u8 cause"}),
    "at": ("position", {"x": "u8 x", "y": "u8 y"}),
    "chimes": (None, {}),
}
RUNS = "SELECT player, number, start_us, end_us, alive_us, deaths, ending, attempt FROM runs ORDER BY number"
TAGS = ["P01", "P213", "P02", "P213", "P03", "P01"]


def lines_of(runs: int, first: int = 0, logged: bool = False) -> list[dict]:
    """Runs of one to two seconds, each with three positions and a death at a place of its own."""
    lines = []
    for n in range(first, runs):
        t = 1000 + 4000 * n
        lines += [event(t - 300, "chimes"), event(t, "begin", who=int(TAGS[n % 6][1:]) if logged else 0)]
        lines += [event(t + 100 * step, "at", x=10 * n + step, y=n) for step in range(1, 4)]
        lines += [event(t + 1000 + 90 * n, "fell", x=100 + n, why=1), event(t + 1200 + 90 * n, "over", how=1)]
    return lines


def console(runs: int = 6, logged: bool = False, first: int = 0) -> bytes:
    chimes = [event(200, "chimes"), event(400, "chimes")]
    return log_of([dictionary(KINDS), {"power_up": 77}, *chimes, *lines_of(runs, first, logged)])


def written(folder: Path, log: bytes, tags: list[str] = TAGS, name: str = "table") -> Path:
    """A recording: all tags were typed before the first run."""
    path = folder / f"{name}.playlog"
    path.write_bytes(log)
    said = [{"capture": 1, "started": "2026-03-01T09:30:00+00:00", "source": "x"}]
    said += [{"at": 0.5, "byte": 0, "player": tag} for tag in tags]
    said += [{"at": 9.0, "byte": len(log) // 2, "remark": "hums"}]
    path.with_suffix(".capture.jsonl").write_text("".join(json.dumps(one) + "\n" for one in said), encoding="utf-8")
    return path


@pytest.fixture
def study(tmp_path):
    with open_study(tmp_path / "s.duckdb") as study:
        yield study


def others(study: Study) -> list[tuple]:
    return rows(study, RUNS)


def events_of(study: Study, kind: str) -> int:
    return rows(study, f'SELECT count(*) FROM events."moth_run__{kind}"')[0][0]


LEFT = [("P01", 1), ("P02", 3), ("P03", 5), ("P01", 6)]


def named(study: Study) -> list[tuple]:
    return rows(study, "SELECT player, number FROM runs ORDER BY number")


def test_all_of_the_player_goes_and_nothing_of_the_others(study, tmp_path):
    log = written(tmp_path, console())
    import_log(study, log)
    before = [row for row in others(study) if row[0] != "P213"]
    (key,) = rows(study, "SELECT capture_key FROM captures")[0]
    note_run(study.connection, key, 2, remark="wore gloves")
    note_run(study.connection, key, 1, remark="was told by p213 how")
    (tmp_path / "p.csv").write_text("player,group\nP213,c\nP01,c\n", encoding="utf-8")
    (tmp_path / "r.csv").write_text("player,game,attempt,rating\nP213,Moth Run,1,70\n", encoding="utf-8")
    take_players(study.connection, tmp_path / "p.csv")
    take_ratings(study.connection, tmp_path / "r.csv")
    add_words(study.connection, '{"playtest": "P213 came late"}')
    gone = withhold_player(study.connection, "P213")
    assert (gone.counted, gone.open_runs, gone.notes, gone.ratings, gone.listed) == (2, 0, 1, 1, True)
    assert gone.games == ("Moth Run",) and [name for _, name in gone.captures] == ["table.playlog"]
    assert gone.mentions == 2  # the remark on another's run and the report's words
    assert others(study) == before and named(study) == LEFT
    # What lies between the runs is nobody's and stays; of what lies in them four of six are left.
    assert [events_of(study, kind) for kind in ("chimes", "begin", "over", "fell", "at")] == [8, 4, 4, 4, 12]
    held = rows(study, "SELECT run_id FROM all_runs WHERE withheld")
    for table, column in rows(
        study,
        "SELECT table_name, column_name FROM duckdb_columns() WHERE column_name = 'run_id' AND table_name IN "
        "(SELECT table_name FROM duckdb_tables())",
    ):
        if table != "all_runs":
            found = rows(
                study,
                f"SELECT count(*) FROM {table} WHERE {column} IN (SELECT unnest(?::BIGINT[]))",
                [r for (r,) in held],
            )
            assert found == [(0,)], table
    kept = (
        "SELECT logged_player, team, first_time, seed, alive_us, score, rating, given_player, given_remark, candidates"
    )
    assert set(rows(study, f"{kept} FROM all_runs WHERE withheld")) == {(None, None, None, None, 0, *[None] * 5)}
    assert rows(study, "SELECT player FROM players") == [("P01",)] and not rows(study, "SELECT * FROM ratings")
    assert rows(study, "SELECT run_number, remark FROM run_notes") == [(1, "was told by p213 how")]
    assert not of_player(study.connection, "P213").anything
    told = rows(study, "SELECT what FROM notices WHERE about = ?", About.WITHHELD.value)
    assert told == [("2 of its runs are left out, since who played them withdrew.",)]


def test_no_byte_of_it_is_left_in_the_file(tmp_path):
    path = tmp_path / "s.duckdb"
    with open_study(path) as study:
        import_log(study, written(tmp_path, console()))
        (key,) = rows(study, "SELECT capture_key FROM captures")[0]
        note_run(study.connection, key, 4, player="P213", remark="wore her grandmother's gloves")
        before = rows(study, "SELECT view_name FROM duckdb_views() ORDER BY ALL")
    assert b"P213" in path.read_bytes() and b"grandmother" in path.read_bytes()
    with open_study(path) as study:
        withhold_player(study.connection, "P213")
    assert b"grandmother" in path.read_bytes()  # deleted, and yet there: that is what the file is written anew for
    study = open_study(path)
    rewrite(study)
    assert b"P213" not in path.read_bytes() and b"grandmother" not in path.read_bytes()
    assert b"P01" in path.read_bytes()
    assert sorted(one.name for one in tmp_path.iterdir()) == ["s.duckdb", "table.capture.jsonl", "table.playlog"]
    with open_study(path) as study:
        assert named(study) == LEFT and rows(study, "SELECT view_name FROM duckdb_views() ORDER BY ALL") == before
        # Nor does the same log, read again, bring them back.
        import_log(study, tmp_path / "table.playlog")
    assert b"P213" not in path.read_bytes()


def test_the_same_log_again_keeps_them_out_and_the_tags_of_the_others(study, tmp_path):
    log = written(tmp_path, console())
    import_log(study, log)
    withhold_player(study.connection, "P213")
    left = others(study)
    assert import_log(study, log).runs == 4 and others(study) == left
    forget_capture(study, 1)
    assert others(study) == []
    again = import_log(study, log)
    assert again.runs == 4 and others(study) == left
    assert [notice.about for notice in again.notices] == [About.WITHHELD]
    assert "P213" not in str(rows(study, "SELECT * FROM all_runs"))


def test_a_log_that_grows_keeps_them_out_and_brings_what_is_new(study, tmp_path):
    whole = console(6)
    cut = len(console(4)) - 1
    import_log(study, written(tmp_path, whole[:cut]))
    withhold_player(study.connection, "P213")
    import_log(study, written(tmp_path, whole))
    assert named(study) == LEFT


def test_a_corrected_role_that_makes_other_runs_keeps_them_out(study, tmp_path):
    log = written(tmp_path, console(logged=True), tags=[])
    import_log(study, log)
    withhold_player(study.connection, "P213")
    assert named(study) == LEFT
    # Runs now begin with the chimes: two more come before the first, and all have other numbers.
    note_role(study.connection, "Moth Run", "kind", "begin", None)
    note_role(study.connection, "Moth Run", "kind", "chimes", "run_start")
    import_log(study, log)
    spots = [x for (x,) in rows(study, "SELECT x FROM lives JOIN runs USING (run_id) WHERE died ORDER BY x")]
    assert spots == [100, 102, 104, 105]


def test_another_copy_of_the_log_keeps_them_out(study, tmp_path):
    import_log(study, written(tmp_path, console()))
    withhold_player(study.connection, "P213")
    # The same console was recorded by a second PC, which began later and was told no tags.
    frames = console().split(b"\0")
    other = tmp_path / "other.playlog"
    other.write_bytes(b"\0".join([*frames[:3], *frames[6:]]) + b"\0")
    import_log(study, other)
    assert len(rows(study, "SELECT * FROM twins")) == 2
    assert named(study) == LEFT
    # And that copy alone knows it too.
    forget_capture(study, 1)
    assert rows(study, "SELECT x FROM lives JOIN runs USING (run_id) ORDER BY x") == [(100,), (102,), (104,), (105,)]


def test_what_a_note_gave_to_the_player_stays_out_though_its_log_is_away(study, tmp_path):
    log = written(tmp_path, console(), tags=[])
    import_log(study, log)
    (key,) = rows(study, "SELECT capture_key FROM captures")[0]
    note_run(study.connection, key, 3, player="P213")
    note_run(study.connection, key, 5, player="P213")
    note_run(study.connection, key, 5, player="P08")
    forget_capture(study, 1)
    gone = withhold_player(study.connection, "P213")
    assert gone.anything and gone.counted == 0
    import_log(study, log)
    assert [number for _, number in named(study)] == [1, 2, 4, 5, 6]
    assert ("P08", 5) in named(study)


def test_a_run_that_may_be_theirs_goes_too(study, tmp_path):
    log = written(tmp_path, console(2), tags=[])
    said = [{"capture": 1, "started": "2026-03-01T09:30:00+00:00", "source": "x"}, {"at": 0.2, "byte": 0}]
    # The tag came 5 s after the start of the first run: it may be of that one or of the next.
    said += [{"at": 6.0, "byte": len(console(1)) - 20, "player": "P213"}]
    log.with_suffix(".capture.jsonl").write_text("".join(json.dumps(one) + "\n" for one in said), encoding="utf-8")
    import_log(study, log)
    assert rows(study, "SELECT number FROM runs WHERE open AND candidates LIKE '%P213%'") == [(1,), (2,)]
    gone = withhold_player(study.connection, "P213")
    assert (gone.counted, gone.open_runs) == (0, 2) and others(study) == []


def test_an_unknown_player_changes_nothing(study, tmp_path):
    import_log(study, written(tmp_path, console()))
    before = others(study)
    assert not of_player(study.connection, "P99").anything
    withhold_player(study.connection, "P99")
    assert others(study) == before and not rows(study, "SELECT * FROM withheld")


@pytest.mark.parametrize(("left", "room"), [(0, False), (1_000_000, False), (100_000_000, True)])
def test_a_disk_has_room_where_a_second_copy_fits_with_something_to_spare(left, room, tmp_path, monkeypatch):
    """left: bytes that the disk would have left beside both files."""
    path = tmp_path / "s.duckdb"
    path.write_bytes(bytes(1000))
    monkeypatch.setattr("shutil.disk_usage", lambda _: SimpleNamespace(free=1000 + left))
    assert room_to_rewrite(path) == room
