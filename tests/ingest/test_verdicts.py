"""Every file of a folder gets its verdict, whatever is wrong with one of them; a damaged study is called so."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import duckdb
import pytest

from dashboard.cli import main
from dashboard.command_line.exits import INPUT, INTERRUPTED, OK
from dashboard.command_line.terminal import Terminal
from ingest.capture.recording import Recording
from ingest.study.store import import_log, open_study
from ingest.study.study_errors import CannotTakeIn, StudyBusy, StudyDamaged, StudyError
from tests.bench.ingest.stream import write_stream
from tests.ingest.studies import rows
from tests.ingest.test_store import runs_log
from tests.needs import need

ROOT = Path(__file__).parents[2]


def answer(capsys: pytest.CaptureFixture[str], study: Path, *paths: Path | str, code: int = INPUT) -> dict[str, Any]:
    """What `ingest --json` prints."""
    assert main(["ingest", "--study", str(study), *map(str, paths), "--json"]) == code
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def taken(found: dict[str, Any]) -> list[str]:
    return [Path(one["file"]).name for one in found["captures"]]


def refused(found: dict[str, Any]) -> dict[str, str]:
    return {Path(one["file"]).name: one["words"] for one in found["not_taken_in"]}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two good logs, a.playlog and z.playlog."""
    (tmp_path / "logs").mkdir()
    (tmp_path / "logs" / "a.playlog").write_bytes(runs_log(1))
    (tmp_path / "logs" / "z.playlog").write_bytes(runs_log(2, first=4))
    return tmp_path / "logs"


def test_files_that_cannot_be_read_stop_no_other(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    need(hasattr(os, "mkfifo"), "Windows has no named pipes")
    for name in ("closed", "shut"):
        (folder / f"{name}.playlog").write_bytes(runs_log(3, first=9))
    (folder / "shut.capture.jsonl").write_text("{}\n", encoding="utf-8")
    (folder / "gone.playlog").symlink_to(folder / "nowhere")
    os.mkfifo(folder / "pipe.playlog")
    (folder / "below.playlog").mkdir()
    (folder / "below.playlog" / "b.playlog").write_bytes(runs_log(1, first=7))
    opened = Path.open

    def refuse(self: Path, *words: Any, **more: Any) -> Any:
        if self.name in ("closed.playlog", "shut.capture.jsonl"):
            raise PermissionError(13, "Permission denied", str(self))
        return opened(self, *words, **more)

    monkeypatch.setattr(Path, "open", refuse)
    found = answer(capsys, tmp_path / "s.duckdb", folder)
    assert taken(found) == ["a.playlog", "b.playlog", "z.playlog"]
    words = refused(found)
    assert set(words) == {"closed.playlog", "shut.playlog", "gone.playlog", "pipe.playlog"}
    assert "Permission denied" in words["closed.playlog"] and "shut.capture.jsonl" in words["shut.playlog"]
    assert "a pipe" in words["pipe.playlog"] and "No such file" in words["gone.playlog"]
    assert all(one["bytes"] is None for one in found["not_taken_in"])
    with open_study(tmp_path / "s.duckdb") as study:
        assert rows(study, "SELECT count(*) FROM captures") == [(3,)]


def test_a_name_that_is_wrong_stops_no_other_and_makes_no_study(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    study = tmp_path / "s.duckdb"
    assert refused(answer(capsys, study, folder / "no.playlog"))["no.playlog"].startswith("There is no such file")
    assert not study.exists()
    found = answer(capsys, study, folder / "no.playlog", folder)
    assert taken(found) == ["a.playlog", "z.playlog"] and list(refused(found)) == ["no.playlog"]


def test_a_named_pipe_does_not_hang(folder: Path, tmp_path: Path) -> None:
    need(hasattr(os, "mkfifo"), "Windows has no named pipes")
    os.mkfifo(tmp_path / "pipe")
    command = [sys.executable, "-m", "dashboard.cli", "ingest", "--study", str(tmp_path / "s.duckdb")]
    done = subprocess.run(
        [*command, str(tmp_path / "pipe")], capture_output=True, text=True, timeout=60, check=False, cwd=ROOT
    )
    assert done.returncode == INPUT and "a pipe or a device" in done.stderr


def test_names_that_are_no_text_are_read_and_shown(folder: Path, tmp_path: Path) -> None:
    """In a process of its own with the strictest terminal there is."""
    need(os.name != "nt", "names of files are always text on Windows")
    for name in (b"k\xe9.playlog", b"two\nlines\x1b[31m.playlog", "\u202egolyalp.playlog".encode()):
        Path(os.fsdecode(os.fsencode(folder) + b"/" + name)).write_bytes(runs_log(1, first=10 + len(name)))
    command = [sys.executable, "-m", "dashboard.cli", "ingest", "--study", str(tmp_path / "s.duckdb"), str(folder)]
    environment = os.environ | {"PYTHONIOENCODING": "ascii:strict"}
    done = subprocess.run(command, capture_output=True, timeout=60, check=False, env=environment, cwd=ROOT)
    assert done.returncode == OK, done.stderr.decode()
    assert len(done.stdout.splitlines()) == 6 and b"\x1b" not in done.stdout
    with open_study(tmp_path / "s.duckdb") as study:
        names = {name for (name,) in rows(study, "SELECT name FROM captures")}
    assert names == {
        "a.playlog",
        "z.playlog",
        "k\\udce9.playlog",
        "two\\nlines\\x1b[31m.playlog",
        "\\u202egolyalp.playlog",
    }
    again = subprocess.run(
        [*command, "--json"], capture_output=True, timeout=60, check=False, env=environment, cwd=ROOT
    )
    assert json.loads(again.stdout)["totals"]["unchanged"] == 5


def test_a_folder_that_cannot_be_read_is_told(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Root reads everything, so root asks as somebody else."""
    need(os.name != "nt", "Windows has no such rights")
    script = """
import os, sys
os.chdir("/")
from pathlib import Path
from dashboard.commands.ingest_command import _logs
if os.geteuid() == 0:
    os.setuid(65534)
for log in _logs([sys.argv[1]]):
    print(log.name if isinstance(log, Path) else f"REFUSED {Path(log.file).name}: {log.words}")
"""
    import tempfile

    with tempfile.TemporaryDirectory() as made:
        top = Path(made)
        top.chmod(0o755)
        (top / "a.playlog").write_bytes(b"x")
        (top / "closed").mkdir()
        (top / "closed" / "b.playlog").write_bytes(b"x")
        (top / "closed").chmod(0)
        done = subprocess.run(
            [sys.executable, "-c", script, made],
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
        )
    assert done.returncode == 0, done.stderr
    first, second = done.stdout.splitlines()
    assert first == "a.playlog" and second.startswith("REFUSED closed: This folder cannot be read (Permission denied)")


def test_whatever_an_import_raises_stops_no_other(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from dashboard.commands import ingest_command

    imported = ingest_command.import_log

    def fail(study: Any, log: Path) -> Any:
        if log.name == "a.playlog":
            raise ZeroDivisionError("a fault of ours")
        return imported(study, log)

    monkeypatch.setattr(ingest_command, "import_log", fail)
    found = answer(capsys, tmp_path / "s.duckdb", folder)
    assert taken(found) == ["z.playlog"] and "ZeroDivisionError: a fault of ours" in refused(found)["a.playlog"]


@pytest.mark.parametrize(
    "broken_off", [KeyboardInterrupt(), duckdb.InterruptException("INTERRUPT Error"), RuntimeError("Query interrupted")]
)
def test_an_import_that_is_broken_off_is_no_fault_of_the_log(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, broken_off: BaseException
) -> None:
    from ingest.study import store

    def fail(*words: Any) -> Any:
        raise broken_off

    monkeypatch.setattr(store, "_imported", fail)
    assert main(["ingest", "--study", str(tmp_path / "s.duckdb"), str(folder)]) == INTERRUPTED


FULL = """
import resource, signal, sys
from dashboard.cli import main
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]),) * 2)
sys.exit(main(sys.argv[2:]))
"""


@pytest.mark.parametrize("limit", [1_500_000, 50_000])
def test_a_full_disk_is_called_so_and_what_fits_is_taken_in(folder: Path, tmp_path: Path, limit: int) -> None:
    need(os.name != "nt", "Windows has no limit for the size of files")
    write_stream(folder / "long.playlog", 200_000, distinct=50_000)
    words = ["ingest", "--study", str(tmp_path / "s.duckdb"), str(folder), "--json"]
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(limit), *words],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        cwd=ROOT,
    )
    assert done.returncode == INPUT and "Traceback" not in done.stderr and "rollback" not in done.stderr, done.stderr
    if limit == 50_000:  # not even an empty study has room
        assert re.search(r"s\.duckdb: .*File too large", done.stderr)
        return
    found = json.loads(done.stdout)
    assert {*taken(found), *refused(found)} == {"a.playlog", "long.playlog", "z.playlog"}
    assert re.search("the disk of .* is full .*; free some space", refused(found)["long.playlog"])
    with open_study(tmp_path / "s.duckdb") as study:
        kept = [name for (name,) in rows(study, "SELECT name FROM captures ORDER BY capture_id")]
        assert kept == taken(found) and "a.playlog" in kept
        assert import_log(study, folder / "long.playlog").events >= 200_000


def test_a_commit_that_fails_tells_why_and_not_that_there_is_nothing_to_roll_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As DuckDB does it where the disk is full: the commit fails and has ended the transaction by itself."""
    from ingest.study import store

    def full(cursor: duckdb.DuckDBPyConnection, *words: Any) -> Any:
        cursor.execute("ROLLBACK")
        raise duckdb.TransactionException("Failed to commit: Could not write file: No space left on device")

    (tmp_path / "a.playlog").write_bytes(runs_log(1))
    with open_study(tmp_path / "s.duckdb") as study:
        monkeypatch.setattr(store, "_result", full)
        with pytest.raises(CannotTakeIn, match=r"a\.playlog: not taken in: the disk of .* is full"):
            import_log(study, tmp_path / "a.playlog")
        monkeypatch.undo()
        assert import_log(study, tmp_path / "a.playlog").runs == 1


def spoilt(tmp_path: Path) -> list[Path]:
    """Studies with some bytes changed, everywhere in them, and cut short."""
    good = tmp_path / "good.duckdb"
    (tmp_path / "g.playlog").write_bytes(runs_log(3))
    with open_study(good) as study:
        import_log(study, tmp_path / "g.playlog")
    content = good.read_bytes()
    made = []
    for number, at in enumerate([5000, 9000, *range(12_400, len(content), len(content) // 10)]):
        made.append(tmp_path / f"flipped{number}.duckdb")
        made[-1].write_bytes(content[:at] + bytes(byte ^ 0xFF for byte in content[at : at + 40]) + content[at + 40 :])
    for number, size in enumerate([4096, 13_000, len(content) // 2]):
        made.append(tmp_path / f"cut{number}.duckdb")
        made[-1].write_bytes(content[:size])
    return made


def test_a_damaged_study_is_called_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = tmp_path / "new.playlog"
    log.write_bytes(runs_log(2, first=5))
    said = []
    for path in spoilt(tmp_path):
        for words in (["ingest", "--study", str(path), str(log)], ["findings", "--study", str(path), "--json"]):
            code = main(words)
            error = capsys.readouterr().err
            assert "another process" not in error
            if code != INPUT:
                assert "damaged" not in error
                continue
            said.append(error)
            assert str(path) in error and ("is damaged" in error or "no study" in error), error
            assert "setscrew ingest --study NEW.duckdb" in error or "name another file" in error
    assert sum("is damaged" in one for one in said) >= 5


def test_a_study_that_somebody_holds_is_still_called_so(tmp_path: Path) -> None:
    from ingest.study.study_errors import cannot_open

    held = duckdb.IOException(
        'IO Error: Could not set lock on file "/x/s.duckdb": Conflicting lock is held in /usr/bin/python3.11 (PID 4711)'
    )
    assert isinstance(cannot_open(tmp_path / "s.duckdb", held), StudyBusy)
    other = duckdb.IOException(
        "IO Error: The process cannot access the file because it is being used by another process. (PID: 12)"
    )
    assert isinstance(cannot_open(tmp_path / "s.duckdb", other), StudyBusy)
    block = duckdb.IOException(
        "Corrupt database file: computed checksum 1 does not match stored checksum 2 in block at location 3"
    )
    found = cannot_open(tmp_path / "s.duckdb", block)
    assert isinstance(found, StudyDamaged) and isinstance(found, StudyError)


def test_a_byte_that_is_no_utf_8_spoils_only_its_own_line(monkeypatch: pytest.MonkeyPatch) -> None:
    read, write = os.pipe()
    os.write(write, b"P01\n# K\xe9vin's turn\nP02\n")
    os.close(write)
    lines: list[str] = []
    with os.fdopen(read, encoding="utf-8", errors="strict") as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        terminal = Terminal()
        terminal._read_lines()
        lines = terminal.typed_lines()
    assert lines == ["P01", "# K\ufffdvin's turn", "P02"]


def test_the_rate_is_never_negative_after_a_full_disk(tmp_path: Path) -> None:
    now = [0.0]

    def full(descriptor: int, data: bytes) -> int:
        raise OSError(28, "No space left on device")

    recording = Recording(tmp_path / "a.playlog", "x", write=full, clock=lambda: now[0])
    for _ in range(10):
        now[0] += 0.3
        recording.take(bytes(5000))
    assert not recording.close()
    assert recording.close(give_up=True)
    status = recording.status()
    assert status.lost_bytes == 50_000 and status.bytes_per_s == 0
