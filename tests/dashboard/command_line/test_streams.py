"""Every command where nobody listens: a pipe that is closed, streams that were closed from the start, a full disk."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from dashboard.command_line import exits
from dashboard.commands import COMMANDS
from ingest.study.store import import_log, open_study
from tests.dashboard.conftest import DEMO
from tests.needs import need

SETSCREW = [sys.executable, "-m", "dashboard.cli"]
TARGETS = str(DEMO / "targets_one_puff.toml")


@pytest.fixture(scope="module")
def small_study(tmp_path_factory) -> Path:
    """The demo game with the fewest events, in two builds."""
    path = tmp_path_factory.mktemp("small") / "s.duckdb"
    with open_study(path) as study:
        for build in "ab":
            import_log(study, DEMO / f"one_puff_{build}_table1.playlog")
    return path


@pytest.fixture(scope="module")
def neighbours(tmp_path_factory) -> Path:
    """The study of another pair."""
    path = tmp_path_factory.mktemp("neighbours") / "n.duckdb"
    with open_study(path) as study:
        import_log(study, DEMO / "crate_loft_b_table1.playlog")
    return path


@pytest.fixture
def words(small_study, neighbours, tmp_path) -> dict[str, list[str]]:
    """Each command with what it needs, so that it prints and ends by itself."""
    study = tmp_path / "s.duckdb"
    shutil.copy(small_study, study)
    (tmp_path / "players.csv").write_text("player,group,team,first_time\nP01,one,no,yes\n", encoding="utf-8")
    own = ["--study", str(study)]
    return {
        "ports": [],
        "record": [f"unix:{tmp_path / 'nobody'}", "--into", str(tmp_path / "logs"), "--stop-after", "0.1"],
        "ingest": [*own, *(str(DEMO / f"crate_loft_{build}_table1.playlog") for build in "ab")],
        "forget": [*own, "one_puff_b_table1.playlog", "--yes"],
        "check": [str(DEMO / "one_puff_a_table1.playlog")],
        "roles": own,
        "people": [*own, "--players", str(tmp_path / "players.csv")],
        "findings": [*own, "--question", "survival"],
        "propose": [*own, "--targets", TARGETS],
        "plan": [*own, "--targets", TARGETS, "--quick"],
        "compare": [*own, "--targets", TARGETS],
        "class": [str(study), str(neighbours)],
        "header": [*own, "--out", str(tmp_path / "values.h")],
        "export": [*own, "--out", str(tmp_path / "tables"), "--format", "csv"],
        "report": [*own, "--out", str(tmp_path / "report"), "--no-proposals", "--browser", "none"],
    }


def closed_pipe() -> int:
    """The end to write into of a pipe that nobody will read from."""
    reading, writing = os.pipe()
    os.close(reading)
    return writing


def unheard(command: list[str], **streams: int) -> subprocess.CompletedProcess[bytes]:
    """Runs a command whose standard output is a closed pipe."""
    pipe = closed_pipe()
    try:
        return subprocess.run(
            [*SETSCREW, *command],
            stdin=subprocess.DEVNULL,
            timeout=250,
            check=False,
            **({"stdout": pipe, "stderr": subprocess.PIPE} | streams),
        )
    finally:
        os.close(pipe)


# These serve until they are interrupted, and have a test of their own.
@pytest.mark.parametrize("name", [name for name in COMMANDS if name not in ("show", "demo")])
def test_a_closed_pipe_is_no_error(name, words):
    ended = unheard([name, *words[name]])
    said = ended.stderr.decode()
    assert "Traceback" not in said and "Exception" not in said and "Broken pipe" not in said
    # Nobody is there to record from.
    assert ended.returncode == (exits.INPUT if name == "record" else exits.OK), said


def test_the_work_is_done_although_nobody_listens(words, tmp_path):
    """The first line finds the pipe closed; the second log is ingested all the same."""
    assert unheard(["ingest", *words["ingest"]]).returncode == exits.OK
    listed = [*SETSCREW, "forget", "--study", str(tmp_path / "s.duckdb"), "--json"]
    held = json.loads(subprocess.run(listed, capture_output=True, check=True, timeout=120).stdout)
    names = [capture["name"] for capture in held["captures"]]
    assert names[2:] == ["crate_loft_a_table1.playlog", "crate_loft_b_table1.playlog"]


def test_a_large_answer_of_which_the_beginning_is_read(words):
    """More than the pipe holds: the command is still writing when the reader goes."""
    need(sys.platform == "linux", "only Linux makes pipes smaller")
    import fcntl

    reading, writing = os.pipe()
    small = fcntl.fcntl(writing, fcntl.F_SETPIPE_SZ, 4096)
    command = [*SETSCREW, "findings", "--json", *words["findings"]]
    with subprocess.Popen(command, stdout=writing, stderr=subprocess.PIPE) as running:
        os.close(writing)
        assert os.read(reading, 10).startswith(b"{") and small < 50_000
        os.close(reading)
        assert running.stderr is not None
        said = running.stderr.read().decode()
    assert running.returncode == exits.OK and said == ""


@pytest.mark.parametrize("words", [["--help"], ["plan", "--help"], ["no such command"]])
def test_help_and_usage_are_no_error_either(words):
    both = closed_pipe()
    try:
        ended = unheard(words, stderr=both)
    finally:
        os.close(both)
    assert ended.returncode == (exits.OK if "--help" in words else exits.USAGE)


@pytest.mark.parametrize("closed", [(1,), (2,), (0, 1), (0, 1, 2)])
def test_streams_that_were_closed_from_the_start(closed, words, tmp_path):
    """The study does not become the standard output, and a question without anybody to answer is answered with no."""
    need(os.name != "nt", "a shell of POSIX closes streams")
    redirections = " ".join(f"{number}{'<' if number == 0 else '>'}&-" for number in closed)
    study = str(tmp_path / "s.duckdb")

    def code(*command: str) -> int:
        whole = ["/bin/sh", "-c", f'exec "$@" {redirections}', "sh", *SETSCREW, *command]
        return subprocess.run(
            whole,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=250,
            check=False,
        ).returncode

    assert code("ingest", *words["ingest"]) == exits.OK
    assert code("forget", "--study", study, "one_puff_a_table1.playlog") == exits.INTERRUPTED
    listed = [*SETSCREW, "forget", "--study", study, "--json"]
    held = json.loads(subprocess.run(listed, capture_output=True, check=True, timeout=120).stdout)
    assert "one_puff_a_table1.playlog" in {capture["name"] for capture in held["captures"]}


def test_a_full_disk_is_an_error(words):
    full = Path("/dev/full")
    need(full.exists(), "this system has no device that is always full")
    with full.open("wb") as nowhere:
        ended = subprocess.run(
            [*SETSCREW, "people", *words["people"]], stdout=nowhere, stderr=subprocess.PIPE, timeout=250, check=False
        )
    assert ended.returncode == exits.INPUT
    assert ended.stderr.decode() == "Not all that was to be printed could be written: No space left on device.\n"
