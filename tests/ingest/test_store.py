"""The study: the same bytes once, growth, notes, tags from the sidecar, versions, locks."""

import json
import re
import subprocess
import sys
import threading
import time
from pathlib import Path

import duckdb
import pytest

from dashboard.cli import main
from dashboard.command_line.exits import INPUT
from ingest.said.notes import note_run
from ingest.study.store import NoPacket, Status, Study, import_log, open_study
from ingest.study.study_errors import StudyBusy, StudyError
from ingest.vocabulary import EventRole, FieldRole
from tests.ingest.logs import Play
from tests.ingest.studies import dictionary, event, imported, log_of, recorded_at, rows

KINDS = {
    "begin": ("run_start", {"who": "u8 player"}),
    "at": ("position", {"x": "u8 x"}),
    "over": ("run_end", {"how": "u8 ending"}),
}


def runs_log(count: int, first: int = 1, nonce: int | None = None) -> bytes:
    """Logs of one nonce and the same first player are copies of one recording."""
    lines = [dictionary(KINDS), *([] if nonce is None else [{"power_up": nonce}])]
    for number in range(count):
        start = 10_000 * number + 1000
        lines += [
            event(start, "begin", who=first),
            event(start + 4000, "at", x=number),
            event(start + 5000, "over", how=2),
        ]
    return log_of(lines)


def everything(study: Study) -> dict[str, list[tuple[object, ...]]]:
    """All that an import makes, but for the moment of it."""
    tables = [row[0] for row in rows(study, "SELECT DISTINCT table_name FROM kinds ORDER BY 1")]
    tables += [
        "all_runs",
        "stages",
        "lives",
        "spells",
        "places",
        "power_ups",
        "damage",
        "builds",
        "tunables",
        "kinds",
        "fields",
    ]
    found = {table: rows(study, f"SELECT * FROM {table} ORDER BY ALL") for table in tables}
    return found | {
        "captures": rows(study, "SELECT * EXCLUDE (ingested_at, received_at, name) FROM captures ORDER BY 1")
    }


def test_same_bytes_twice_change_nothing(study: Study, tmp_path: Path) -> None:
    log = Play(3).log()
    assert imported(study, tmp_path / "a.playlog", log).status == Status.NEW
    before = everything(study)
    again = imported(study, tmp_path / "b.playlog", log)
    assert again.status == Status.UNCHANGED and again.events == sum(len(v) for k, v in before.items() if "events." in k)
    assert everything(study) == before


NO_LOGS = {
    "empty": (b"", 0),
    "text": (b"Tuesday: bring the cable\n" * 30, 0),
    "noise": (bytes(range(1, 200)) + b"\0\x05abcdefghijklmn\0" * 9, 10),
}


@pytest.mark.parametrize(("content", "broken"), NO_LOGS.values(), ids=NO_LOGS)
def test_a_file_without_a_packet_is_refused_and_the_study_stays_as_it_was(
    study: Study, tmp_path: Path, content: bytes, broken: int
) -> None:
    imported(study, tmp_path / "a.playlog", runs_log(2))
    before = everything(study)
    with pytest.raises(NoPacket) as refused:
        imported(study, tmp_path / "notes.txt", content)
    assert refused.value.file.endswith("notes.txt") and refused.value.counts.bytes == len(content)
    assert (refused.value.counts.packets, refused.value.counts.rejected_packets) == (0, broken)
    assert everything(study) == before
    assert imported(study, tmp_path / "b.playlog", runs_log(2, first=3)).capture_id == 2


def test_a_recording_without_a_packet_yet_comes_in_when_it_has_one(study: Study, tmp_path: Path) -> None:
    log = runs_log(2)
    first = log.index(b"\0", 1) + 1  # a zero stands in front of the first packet too
    for size in (0, 1, first - 1):
        with pytest.raises(NoPacket):
            imported(study, tmp_path / "live.playlog", log[:size])
    result = imported(study, tmp_path / "live.playlog", log[:first])
    assert (result.status, result.packets) == (Status.NEW, 1)
    assert imported(study, tmp_path / "live.playlog", log).status == Status.GROWN


def test_one_good_packet_among_damage_is_enough(study: Study, tmp_path: Path) -> None:
    noise, log = NO_LOGS["noise"][0], runs_log(1)
    result = imported(study, tmp_path / "a.playlog", noise + log[: log.index(b"\0", 1) + 1] + noise)
    assert (result.status, result.packets, result.rejected_packets) == (Status.NEW, 1, 20)


def test_the_command_says_which_files_are_no_logs_and_takes_in_the_rest(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    names = {"a.playlog": runs_log(1), "b.playlog": NO_LOGS["noise"][0], "c.playlog": runs_log(2, first=4)}
    for name, content in names.items():
        (tmp_path / name).write_bytes(content)
    words = ["ingest", "--study", str(tmp_path / "s.duckdb"), *(str(tmp_path / name) for name in names)]
    assert main(words) == INPUT
    said = capsys.readouterr()
    assert f"{tmp_path / 'b.playlog'}: not taken in. In 352 bytes not one packet could be read; " in said.err
    assert "10 packets arrived broken. Is this a play log, and were baud rate and wiring right?" in said.err
    assert "2 logs, 2 new" in said.out and "b.playlog" not in said.out
    assert main([*words, "--json"]) == INPUT
    printed = json.loads(capsys.readouterr().out)
    assert [one["status"] for one in printed["captures"]] == ["unchanged", "unchanged"]
    (refused,) = printed["not_taken_in"]
    assert refused["file"].endswith("b.playlog") and refused["bytes"] == 352
    assert "10 packets arrived broken" in refused["words"]


@pytest.mark.parametrize("short", [300, 700])
def test_a_file_that_grows_gives_what_it_gives_at_once(study: Study, tmp_path: Path, short: int) -> None:
    """Piece by piece, with other captures between: the same study as in one piece, ids of runs and capture too."""
    log = runs_log(40)
    path = tmp_path / "live.playlog"
    imported(study, tmp_path / "before.playlog", runs_log(2, first=9))
    assert imported(study, path, log[:short]).status == Status.NEW
    kept = rows(study, "SELECT run_id, number FROM all_runs WHERE capture_id = 2")
    imported(study, tmp_path / "after.playlog", runs_log(2, first=8))
    for size in (short + 1, len(log) // 2, len(log) - 7, len(log)):
        result = imported(study, path, log[:size])
        assert (result.status, result.capture_id, result.bytes) == (Status.GROWN, 2, size)
        assert set(kept) <= set(rows(study, "SELECT run_id, number FROM all_runs WHERE capture_id = 2"))
    assert rows(study, "SELECT count(*), count(DISTINCT run_id) FROM all_runs") == [(44, 44)]
    with open_study(tmp_path / "at_once.duckdb") as other:
        imported(other, path, log)
        columns = "start_us, end_us, alive_us, ending, damaged, player"
        picked = f"SELECT {columns} FROM runs WHERE capture_id = ? ORDER BY number"
        assert rows(study, picked, 2) == rows(other, picked, 1)
        places = (
            "SELECT p.at_us, p.x, r.number, s.visit FROM position_events p JOIN all_runs r USING (run_id) "
            "JOIN stages s ON s.stage_id = p.stage_id WHERE r.capture_id = ? ORDER BY 1"
        )
        assert rows(study, places, 2) == rows(other, places, 1)
    assert imported(study, path, log).status == Status.UNCHANGED


def test_notes_outlive_growth_and_rebuild(study: Study, tmp_path: Path) -> None:
    log = runs_log(60)
    assert len(log) > 5000
    imported(study, tmp_path / "a.playlog", log[:600])
    ((key, number),) = rows(
        study, "SELECT capture_key, number FROM all_runs JOIN captures USING (capture_id) WHERE number = 1"
    )
    note_run(study.connection, key, number, player="P17", remark="held it upside down")
    for size in (900, 4500, len(log)):
        imported(study, tmp_path / "a.playlog", log[:size])
        assert rows(study, "SELECT player, remark FROM runs WHERE number = 1") == [("P17", "held it upside down")]
    notes = rows(study, "SELECT * FROM run_notes")
    with open_study(tmp_path / "rebuilt.duckdb") as rebuilt:
        with rebuilt.connection.cursor() as cursor:
            cursor.execute("INSERT INTO run_notes VALUES (?, ?, ?, ?, ?, ?, ?)", list(notes[0]))
        imported(rebuilt, tmp_path / "a.playlog", log)
        assert rows(rebuilt, "SELECT player FROM runs WHERE number = 1") == [("P17",)]


def test_two_logs_that_begin_alike_keep_their_notes_apart(study: Study, tmp_path: Path) -> None:
    log = runs_log(60)
    other = log[:4200] + log[4400:]
    imported(study, tmp_path / "a.playlog", log)
    imported(study, tmp_path / "b.playlog", other)
    keys = [row[0] for row in rows(study, "SELECT capture_key FROM captures")]
    assert len(set(keys)) == 2
    note_run(study.connection, keys[1], 1, player="P44")
    notes = (
        "SELECT capture_id, number, player FROM run_notes JOIN captures USING (capture_key) "
        "JOIN all_runs USING (capture_id) WHERE number = run_number"
    )
    assert rows(study, notes) == [(2, 1, "P44")]
    # They are copies of one recording: the run counts once, and what was said of the one copy holds.
    assert rows(study, "SELECT player FROM runs WHERE number = 1") == [("P44",)]


def test_tags_and_remarks_of_the_sidecar(study: Study, tmp_path: Path) -> None:
    """Given while it was recorded; given later, when not a byte more has come; overruled by a note."""
    log = runs_log(3)
    path = tmp_path / "a.playlog"
    sidecar = tmp_path / "a.capture.jsonl"
    lines = [
        {"capture": 1, "started": "2026-03-01T09:30:00+01:00", "source": "x"},
        {"at": 0.5, "byte": 0, "player": "P05"},
    ]
    sidecar.write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")
    imported(study, path, log)
    asked = "SELECT player, remark FROM runs ORDER BY number"
    assert rows(study, asked) == [("P05", None), ("P01", None), ("P01", None)]
    assert rows(study, "SELECT received_at::TEXT FROM captures") == [("2026-03-01 08:30:00",)]
    lines += [
        {"at": 60, "byte": len(log), "player": "P06", "current": True},
        {"at": 61, "byte": len(log), "remark": "left-handed"},
    ]
    sidecar.write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")
    assert import_log(study, path).status == Status.UNCHANGED
    assert rows(study, asked) == [("P05", None), ("P01", None), ("P06", "left-handed")]
    ((key,),) = rows(study, "SELECT capture_key FROM captures")
    note_run(study.connection, key, 3, player="P07")
    assert rows(study, asked)[2] == ("P07", "left-handed")


def test_attempts_are_counted_for_each_player(study: Study, tmp_path: Path) -> None:
    imported(study, tmp_path / "a.playlog", runs_log(2, first=1))
    imported(
        study, tmp_path / "b.playlog", runs_log(2, first=2) + log_of([dictionary(KINDS), event(1, "begin", who=1)])
    )
    imported(study, tmp_path / "c.playlog", runs_log(2, first=0))
    assert rows(study, "SELECT player, attempt, tagged FROM runs ORDER BY run_id") == [
        ("P01", 1, True),
        ("P01", 2, True),
        ("P02", 1, True),
        ("P02", 2, True),
        ("P01", 3, True),
        ("?6", 1, False),
        ("?7", 1, False),
    ]


def test_attempts_are_in_the_order_of_time_where_it_is_known(study: Study, tmp_path: Path) -> None:
    """A late import goes before what was played after it; what has no time goes by its name."""
    names = ["b", "a", "c"]
    for number, name in enumerate(names):
        path = tmp_path / f"{name}.playlog"
        if name != "a":
            recorded_at(path, {"b": "2026-03-02T10:00:00+00:00", "c": "2026-03-01T23:00:00-12:00"}[name])
        imported(study, path, runs_log(2, first=1, nonce=number + 2))
    asked = "SELECT name, r.number, attempt FROM runs r JOIN captures USING (capture_id) ORDER BY attempt"
    assert rows(study, asked) == [
        ("a.playlog", 1, 1),
        ("a.playlog", 2, 2),
        ("b.playlog", 1, 3),
        ("b.playlog", 2, 4),
        ("c.playlog", 1, 5),
        ("c.playlog", 2, 6),
    ]
    # At first c had come an hour after b; by the right clock it came a day before. Not a byte is new.
    recorded_at(tmp_path / "c.playlog", "2026-03-01T11:00:00")
    import_log(study, tmp_path / "c.playlog")
    assert rows(study, asked) == [
        ("a.playlog", 1, 1),
        ("a.playlog", 2, 2),
        ("c.playlog", 1, 3),
        ("c.playlog", 2, 4),
        ("b.playlog", 1, 5),
        ("b.playlog", 2, 6),
    ]


def test_a_player_who_goes_from_console_to_console(study: Study, tmp_path: Path) -> None:
    for name, log in (("x", runs_log(2)), ("y", runs_log(1, nonce=2))):
        imported(study, tmp_path / f"{name}.playlog", log)
    asked = "SELECT start_byte FROM all_runs WHERE capture_id = 1 ORDER BY number"
    (first,), (second,) = rows(study, asked)
    came = (1.0, first), (2.0, second), (100.0, second + 1)
    recorded_at(tmp_path / "x.playlog", "2026-03-01T10:00:00", *came)
    recorded_at(tmp_path / "y.playlog", "2026-03-01T10:00:50")
    for name in ("x", "y"):
        assert import_log(study, tmp_path / f"{name}.playlog").status == Status.UNCHANGED
    asked = "SELECT capture_id, number, player, attempt FROM runs ORDER BY ALL"
    assert rows(study, asked) == [(1, 1, "P01", 1), (1, 2, "P01", 3), (2, 1, "P01", 2)]
    assert rows(study, "SELECT began_at::TEXT FROM all_runs ORDER BY capture_id, number") == [
        ("2026-03-01 10:00:02",),
        ("2026-03-01 10:01:40",),
        ("2026-03-01 10:00:50",),
    ]


@pytest.mark.parametrize("started", ["yesterday", "", "9999-12-31T23:59:59", "0001-01-01T00:00:00+14:00"])
def test_times_that_are_none_leave_the_order_of_import(study: Study, tmp_path: Path, started: str) -> None:
    recorded_at(tmp_path / "a.playlog", started, (1e300, 0), (1e300, 1 << 40))
    imported(study, tmp_path / "a.playlog", runs_log(2, first=1))
    assert rows(study, "SELECT attempt, began_at FROM runs JOIN all_runs USING (run_id) ORDER BY 1") == [
        (1, None),
        (2, None),
    ]


def test_every_role_has_its_view_even_when_empty(study: Study) -> None:
    columns = [
        "power_up_id",
        "run_id",
        "stage_id",
        "at_us",
        "dictionary_id",
        "kind",
        *(role.value for role in FieldRole),
    ]
    for role in EventRole:
        with study.connection.cursor() as cursor:
            asked = cursor.execute(f"SELECT * FROM {role}_events")
            assert [column[0] for column in asked.description] == columns
            assert asked.fetchall() == []


def test_kinds_of_one_name_and_other_fields_get_tables_of_their_own(study: Study, tmp_path: Path) -> None:
    """Another field, another role, another game: each its table; the role's view shows them all."""
    other = {"begin": ("run_start", {}), "at": ("position", {"x": "u16 x", "y": "u16 y"})}
    third = {"begin": ("run_start", {}), "at": ("shot", {"x": "u8 x"})}
    imported(study, tmp_path / "a.playlog", [dictionary(KINDS), event(1, "at", x=1)])
    imported(study, tmp_path / "b.playlog", [dictionary(other), event(1, "at", x=300, y=2)])
    imported(study, tmp_path / "c.playlog", [dictionary(third), event(1, "at", x=3)])
    named = dictionary(KINDS)
    named["dictionary"]["game"] = "MOTH run!"
    imported(study, tmp_path / "d.playlog", [named, event(1, "at", x=4)])
    again = dictionary(KINDS)
    again["dictionary"]["firmware"] = "1.1"
    imported(study, tmp_path / "e.playlog", [again, event(1, "at", x=5)])
    assert rows(study, "SELECT DISTINCT table_name FROM kinds WHERE kind = 'at' ORDER BY 1") == [
        (f'events."moth_run__at{n}"',) for n in ("", "_2", "_3", "_4")
    ]
    assert rows(study, "SELECT x, y FROM position_events ORDER BY x") == [(1, None), (4, None), (5, None), (300, 2)]
    assert rows(study, "SELECT x FROM shot_events") == [(3,)]
    assert rows(study, "SELECT label, game FROM builds") == []  # without runs there is nothing to compare


def test_a_refused_dictionary_is_told_and_nothing_is_lost(study: Study, tmp_path: Path) -> None:
    from ingest.wire.checksum import crc16
    from ingest.wire.cobs import stuff

    text = b"playlog 1\ngame X\nfirmware 1\nclock 1000\nscreen 1 5000\nkind a -\n"
    out = b""
    for number, (type_, body) in enumerate(
        [
            (0x13, crc16(text).to_bytes(2, "little") + b"\x01\x00\x00\x00"),
            (0x12, crc16(text).to_bytes(2, "little") + len(text).to_bytes(2, "little") + b"\0\0" + text),
            (0x11, b"\0"),
        ]
    ):
        packet = bytes([type_, number, 0]) + bytes(6) + body
        out += stuff(packet + crc16(packet).to_bytes(2, "big")) + b"\0"
    result = imported(study, tmp_path / "a.playlog", out)
    assert result.status == Status.REFUSED and result.unread_bytes == 12
    assert result.refusal is not None and "line 5" in result.refusal and "4096" in result.refusal


def test_no_study_and_other_versions_are_refused_with_a_remedy(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(StudyError, match="no such study"):
        open_study(tmp_path / "none.duckdb", read_only=True)
    with pytest.raises(StudyError, match="does not exist"):
        open_study(tmp_path / "no" / "folder.duckdb")
    text = tmp_path / "falling blocks.duckdb"  # the word "lock" in it is not said by DuckDB
    text.write_text("hello, I am no database\n" * 500, encoding="utf-8")
    for read_only in (False, True):
        with pytest.raises(StudyError, match="this file is no study; name your study") as refused:
            open_study(text, read_only=read_only)
        assert str(refused.value).startswith(f"{text}: ") and "setscrew ingest --study" in str(refused.value)
        assert "Error" not in str(refused.value) and not isinstance(refused.value, StudyBusy)
    with pytest.raises(StudyError, match="this is a folder, no study"):
        open_study(tmp_path)
    assert text.read_text(encoding="utf-8").startswith("hello")
    strange = tmp_path / "strange.duckdb"
    with duckdb.connect(str(strange)) as connection:
        connection.execute("CREATE TABLE mine (a INTEGER)")
    with pytest.raises(StudyError, match="no study of Setscrew"):
        open_study(strange)
    newer, again = ("version 99, this Setscrew 1; use a newer", "ingest the play logs again into a new study file")
    log = tmp_path / "a.playlog"
    log.write_bytes(runs_log(1))
    for number, (version, whole, told) in enumerate(
        [(99, True, newer), (99, False, newer), (0, True, "version 0.*" + again), (1, False, again)]
    ):
        path = tmp_path / f"v{number}.duckdb"
        with open_study(path) as study:
            import_log(study, log)
            study.connection.execute("UPDATE study SET schema_version = ?", [version])
            if not whole:
                study.connection.execute("ALTER TABLE builds DROP COLUMN build_key")
        before = path.read_bytes()
        for read_only in (True, False):
            with pytest.raises(StudyError, match=told):
                open_study(path, read_only=read_only)
        assert main(["ingest", "--study", str(path), str(log)]) == INPUT
        assert re.search(told, capsys.readouterr().err)
        assert path.read_bytes() == before


def test_the_second_process_is_told_who_holds_the_study(tmp_path: Path) -> None:
    path = tmp_path / "s.duckdb"
    holder = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "import sys; from ingest.study.store import open_study; "
            "study = open_study(sys.argv[1]); "
            "print(1, flush=True); input()",
            str(path),
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    try:
        assert holder.stdout is not None and holder.stdout.readline()
        with pytest.raises(StudyBusy, match=f"process {holder.pid}.*holds this study"):
            open_study(path)
        log = tmp_path / "a.playlog"
        log.write_bytes(runs_log(1))
        command = [sys.executable, "-m", "dashboard.cli", "ingest", "--study", str(path), str(log), "--json"]
        second = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
        assert second.returncode == 4 and str(holder.pid) in second.stderr and second.stdout == ""
    finally:
        holder.communicate(b"\n", timeout=60)


def test_an_error_on_the_way_leaves_the_study_as_it_was(
    study: Study, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    imported(study, tmp_path / "a.playlog", runs_log(2))
    before = everything(study)
    from ingest.study.writer import Writer

    def fail(self: Writer, insert: str, parts: object) -> None:
        raise OSError("disk full")

    monkeypatch.setattr(Writer, "_insert", fail)
    with pytest.raises(OSError, match="disk full"):
        imported(study, tmp_path / "b.playlog", runs_log(3, first=5))
    with pytest.raises(OSError, match="disk full"):
        imported(study, tmp_path / "a.playlog", runs_log(4))
    monkeypatch.undo()
    assert everything(study) == before
    assert imported(study, tmp_path / "b.playlog", runs_log(3, first=5)).runs == 3


def test_following_a_live_file_is_quick(study: Study, tmp_path: Path) -> None:
    """A few MB re-read after growth: within two seconds of CPU time here, on a machine that does other things too."""
    from tests.bench.ingest.stream import write_stream

    path = tmp_path / "live.playlog"
    write_stream(path, 60_000)
    log = path.read_bytes()
    path.write_bytes(log[:-5000])
    import_log(study, path)
    path.write_bytes(log)
    cpu = time.process_time()
    assert import_log(study, path).status == Status.GROWN
    assert time.process_time() - cpu < 2


def test_readers_see_whole_captures_while_one_is_imported(study: Study, tmp_path: Path) -> None:
    """Another cursor never sees half a capture."""
    imported(study, tmp_path / "a.playlog", runs_log(3))
    seen = []

    def look(done: int, size: int) -> None:
        seen.append(rows(study, "SELECT count(*) FROM all_runs")[0][0])

    (tmp_path / "b.playlog").write_bytes(runs_log(30, first=2))
    import_log(study, tmp_path / "b.playlog", look)
    assert seen == [3] and rows(study, "SELECT count(*) FROM all_runs") == [(33,)]


def test_closing_breaks_off_what_another_thread_is_asking(tmp_path):
    study = open_study(tmp_path / "busy.duckdb")
    asking, ended = threading.Event(), []

    def ask():
        asking.set()
        try:
            study.connection.execute("SELECT count(*) FROM range(1000000000000) WHERE hash(range) % 7 = 3")
        except duckdb.Error as error:
            ended.append(error)

    thread = threading.Thread(target=ask, daemon=True)
    thread.start()
    assert asking.wait(20)
    time.sleep(0.5)
    study.close()
    thread.join(20)
    # Left alone, the answer would take hours.
    assert len(ended) == 1
    open_study(tmp_path / "busy.duckdb").close()


def test_closing_a_study_that_refuses_and_is_closed_all_the_same(tmp_path):
    class Refusing:
        """What a connection was seen to do while another thread made a cursor of it."""

        def __init__(self):
            self.asked = []

        def close(self):
            self.asked.append("close")
            if self.asked == ["close"]:
                raise duckdb.ResourceInUseException("busy")

        def interrupt(self):
            self.asked.append("interrupt")
            raise duckdb.ConnectionException("already closed")

    connection = Refusing()
    Study(connection, tmp_path / "any.duckdb", read_only=False).close()
    assert connection.asked == ["close", "interrupt", "close"]
