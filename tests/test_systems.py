"""Windows and macOS: what their Pythons lack, and what differs there, as far as it can be tried on any system.

The type checker reads the code of ingest, analysis and dashboard as it is on all three (tests/__main__.py); what only a
run on those systems can tell is listed in tests/SYSTEMS.md.
"""

import ast
import io
import json
import mimetypes
import os
import re
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path, PureWindowsPath

import duckdb
import pytest

from dashboard.command_line import streams
from dashboard.command_line.terminal import typed_on_windows
from dashboard.pages.import_page import safe_name
from dashboard.web.web_server import refuse_a_port_in_use
from ingest.capture.captures import Captures
from ingest.study.study_errors import StudyBusy, cannot_open
from tests.ingest.test_capture import FakeSource
from tests.needs import need

ROOT = Path(__file__).resolve().parent.parent
PRODUCT = ("ingest", "analysis", "dashboard", "demo_logs")

# --- the code ---------------------------------------------------------------------------------------------------------

# Of Python's library ("Availability" in its documentation): what Unix or Windows alone has. `signal`, `select` and
# `socket` are everywhere; of them only names are missing, which the type checker knows.
ELSEWHERE = {
    *("fcntl", "termios", "tty", "pty", "pwd", "grp", "resource", "posix", "curses", "readline", "syslog", "crypt"),
    *("spwd", "nis", "ossaudiodev", "msvcrt", "winreg", "winsound", "_winapi", "nt"),
}
# The one place that cannot be guarded by its system alone: `main` refuses the word that leads there.
LET = {("demo_logs/simulator/live.py", name) for name in ("pty", "tty", "fcntl", "termios")}


def parsed(*folders: str) -> Iterator[tuple[str, ast.Module]]:
    """The product's modules, by their paths."""
    for folder in folders:
        for path in sorted((ROOT / folder).rglob("*.py")):
            yield path.relative_to(ROOT).as_posix(), ast.parse(path.read_text(encoding="utf-8"))


def unguarded(tree: ast.AST, guarded: bool = False) -> Iterator[str]:
    """The modules of one system that are imported under no `if` that asks for the system."""
    for node in ast.iter_child_nodes(tree):
        asks = isinstance(node, ast.If) and ast.unparse(node.test).startswith(("sys.platform ", "os.name "))
        if not guarded and isinstance(node, ast.Import):
            yield from (one.name for one in node.names if one.name in ELSEWHERE)
        elif not guarded and isinstance(node, ast.ImportFrom) and node.module in ELSEWHERE:
            yield str(node.module)
        yield from unguarded(node, guarded or asks)


def test_no_module_of_one_system_alone_is_imported_unguarded():
    found = {(path, name) for path, tree in parsed(*PRODUCT) for name in unguarded(tree)}
    assert found == LET


def test_a_planted_import_is_found():
    assert list(unguarded(ast.parse("def f():\n    import fcntl, os\n"))) == ["fcntl"]
    assert list(unguarded(ast.parse("from termios import error"))) == ["termios"]
    assert list(unguarded(ast.parse("if sys.platform == 'win32':\n    import msvcrt\nelse:\n    import tty"))) == []


# What has an `open` of its own, and reads no text.
_NO_PATH = re.compile(r"\b(os|analysis|webbrowser|Image|archive|_?source|other|SerialSource\(.*\))$")
_TEXT_CALLS = {"open", "read_text", "write_text", "fdopen", "TextIOWrapper", "NamedTemporaryFile", "TemporaryFile"}


def without_encoding(tree: ast.AST, programs: bool = True) -> Iterator[int]:
    """Lines where text is read or written in whatever encoding the system has; Windows has another than UTF-8.

    programs: what is read of other programs too.
    """
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call) or any(word.arg in ("encoding", None) for word in node.keywords):
            continue
        called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        words = {word.arg: word.value for word in node.keywords}
        of_a_path = called == "open" and isinstance(node.func, ast.Attribute)
        modes = [words["mode"]] if "mode" in words else node.args[0 if of_a_path else 1 :][:1]
        binary = any(isinstance(mode, ast.Constant) and "b" in str(mode.value) for mode in modes)
        owner = ast.unparse(node.func.value) if isinstance(node.func, ast.Attribute) else ""
        given = len(node.args) > {"read_text": 0, "write_text": 1}.get(called, 99)
        if given or (of_a_path and _NO_PATH.search(owner)):
            continue
        if called in _TEXT_CALLS and not binary and not (called.endswith("File") and not modes):
            yield node.lineno
        if (
            programs
            and called in ("run", "Popen", "check_output")
            and ("text" in words or "universal_newlines" in words)
        ):
            yield node.lineno


def test_text_is_read_and_written_as_utf_8_whatever_the_system():
    found = [f"{path}:{line}" for path, tree in parsed(*PRODUCT) for line in without_encoding(tree)]
    own = [f"{path}:{line}" for path, tree in parsed("tests") for line in without_encoding(tree, programs=False)]
    assert found == [] == own


@pytest.mark.parametrize(
    ("code", "told"),
    [
        ("open('x')", True),
        ("open('x', 'rb')", False),
        ("path.open()", True),
        ("path.open('wb')", False),
        ("path.open(mode='w')", True),
        ("path.write_text('x')", True),
        ("path.read_text(encoding='utf-8')", False),
        ("subprocess.run(words, text=True)", True),
        ("os.open(path, flags)", False),
    ],
)
def test_a_planted_text_without_encoding_is_found(code, told):
    assert bool(list(without_encoding(ast.parse(code)))) == told


# --- files ------------------------------------------------------------------------------------------------------------

# "Naming Files, Paths, and Namespaces" (Microsoft): letters that no name may hold, names that mean devices, whatever
# their ending, and 260 characters for a whole path. A checkout may lie some way down.
_FORBIDDEN = re.compile(r'[<>:"|?*\\\x00-\x1f]|[. ]$')
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}
_LONGEST = 160


def bad_name(path: str) -> bool:
    """Whether Windows cannot have a file of this path."""
    parts = path.split("/")
    return len(path) > _LONGEST or any(
        _FORBIDDEN.search(p) or p.split(".")[0].rstrip().lower() in _DEVICES for p in parts
    )


def test_every_file_can_be_checked_out_everywhere():
    need((ROOT / ".git").exists(), "this is no git checkout")
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, check=True, capture_output=True).stdout
    names = listed.decode().split("\0")[:-1]
    assert [name for name in names if bad_name(name)] == []
    assert len({name.lower() for name in names}) == len(names), "two names differ in their case alone"
    assert all(map(bad_name, ("a/con.txt", "NUL", "b/a:b.md", "c/end.", "d/" * 90)))


@pytest.mark.parametrize(
    "name", ["CON", "nul.playlog", "COM3.playlog", "Aux .x", "lpt\u00b9.playlog", "a:b.playlog", "x. "]
)
def test_an_upload_gets_a_name_that_is_no_device(name):
    kept = safe_name(name)
    assert not bad_name(kept) and not PureWindowsPath(kept).drive
    assert safe_name("console.playlog") == "console.playlog" and safe_name("comet.playlog") == "comet.playlog"


@pytest.mark.parametrize(
    "source", ["COM3", "/dev/ttyACM0", "tcp:localhost:5000", "unix:/run/x", r"\\.\COM12", "con", "é: *?"]
)
def test_a_recording_gets_a_name_that_every_system_takes(tmp_path, source):
    captures = Captures(tmp_path)
    captures.start_source(FakeSource(b"", name=source))
    captures.stop_all()
    (log,) = tmp_path.glob("*.playlog")
    assert not bad_name(log.name) and log.name.isascii()


# --- what is printed and typed ----------------------------------------------------------------------------------------


def test_what_is_printed_for_machines_is_the_same_in_every_encoding(tmp_path):
    """RFC 8259, section 8.1: JSON that is exchanged is UTF-8; a pipe of Windows has a code page."""
    study = tmp_path / "study.duckdb"
    log = tmp_path / "a.playlog"
    from tests.ingest.studies import dictionary, event, log_of

    kinds = {"begin": ("run_start", {"who": "u8 player"}), "fell": ("death", {"x": "u8 x"})}
    log.write_bytes(
        log_of([dictionary(kinds, game="Ein Stück – ≥ 2"), event(10, "begin", who=1), event(20, "fell", x=1)])
    )
    env = {**os.environ, "PYTHONIOENCODING": "cp1252", "PYTHONUTF8": "0"}

    def called(*words: str) -> bytes:
        words = (sys.executable, "-m", "dashboard.cli", *words)
        return subprocess.run(words, cwd=ROOT, env=env, capture_output=True, check=True).stdout

    called("ingest", "--study", str(study), str(log))
    found = json.loads(called("findings", "--study", str(study), "--json").decode("ascii"))
    assert [game["game"] for game in found["games"]] == ["Ein Stück – ≥ 2"]


def test_a_console_of_windows_keeps_its_own_stream(monkeypatch):
    """PEP 528: only that stream prints every character there."""

    class Console(io.StringIO):
        def isatty(self) -> bool:
            return True

    console = Console()
    for name in ("stdout", "__stdout__"):
        monkeypatch.setattr(sys, name, console)
    monkeypatch.setattr(streams, "_CONSOLE_IS_NO_FILE", True)
    streams.prepare()
    assert sys.stdout is console


def test_arrows_of_a_windows_console_are_not_typed():
    """msvcrt.getwch gives them as two characters; à is the first of these, alone."""
    waiting = list("P\xe0H0\x00;7")
    assert "".join(typed_on_windows(lambda: bool(waiting), lambda: waiting.pop(0))) == "P07"
    waiting = ["\xe0"]
    assert "".join(typed_on_windows(lambda: bool(waiting), lambda: waiting.pop(0))) == "\xe0"


# --- the study and the server -----------------------------------------------------------------------------------------


def test_a_study_that_another_holds_on_windows_is_busy_in_any_language():
    """As DuckDB words it there (from memory, no source): the system's own words, then the process that has the file."""
    said = (
        'IO Error: Cannot open file "c:\\class.duckdb": Der Prozess kann nicht auf die Datei zugreifen, da sie von '
        "einem anderen Prozess verwendet wird.\r\n\r\nFile is already open in \r\nC:\\Programs\\python.exe (PID 4711)"
    )
    told = cannot_open(Path("class.duckdb"), duckdb.IOException(said))
    assert isinstance(told, StudyBusy) and "process 4711 (python.exe)" in str(told)


def test_a_port_in_use_is_refused_before_waitress_takes_it():
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        with pytest.raises(OSError):
            refuse_a_port_in_use("127.0.0.1", port)
    refuse_a_port_in_use("127.0.0.1", 0)


def test_scripts_are_scripts_whatever_the_registry_says(tmp_path):
    """On Windows `mimetypes` reads the registry; with `nosniff` a browser runs no script that is called text."""
    from dashboard.state.dashboard_session import Session
    from dashboard.web.app import build_app
    from ingest.study.store import open_study

    mimetypes.add_type("text/plain", ".js")
    mimetypes.add_type("text/plain", ".css")
    with open_study(tmp_path / "study.duckdb") as study:
        session = Session(study, tmp_path / "recordings")
        try:
            client = build_app(session).server.test_client()
            types = {name: client.get(f"/assets/{name}").mimetype for name in ("shell.js", "style.css")}
        finally:
            session.close()
    assert types == {"shell.js": "text/javascript", "style.css": "text/css"}
