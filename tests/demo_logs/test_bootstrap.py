"""The two commands' installer: what it installs into, when it installs again, and what it says when it cannot."""

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from demo_logs import bootstrap
from tests.interrupting import interruptible

NOWHERE = "[build-system]\nrequires = ['no-such-thing-at-all']\nbuild-backend = 'no_such'\n"


@pytest.fixture
def checkout(tmp_path, monkeypatch):
    """A checkout of its own outside any virtual environment; installing is only noted down."""
    for name in ("pyproject.toml", "constraints.txt"):
        (tmp_path / name).write_text("1", encoding="utf-8")
    monkeypatch.setattr(bootstrap, "ROOT", tmp_path)
    monkeypatch.setattr(sys, "prefix", sys.base_prefix)
    calls: list[str] = []

    def install(python: Path, extra: str) -> None:
        calls.append(extra)

    def make(folder: Path, python: Path) -> None:
        python.parent.mkdir(parents=True)
        python.symlink_to(sys.executable)

    monkeypatch.setattr(bootstrap, "_install", install)
    monkeypatch.setattr(bootstrap, "_make_environment", make)
    monkeypatch.setattr(bootstrap, "_has", lambda python, module: python.exists())
    return tmp_path, calls


def test_the_second_start_installs_nothing(checkout):
    folder, calls = checkout
    python = bootstrap.python_with_setscrew()
    assert python.is_relative_to(folder / ".venv")
    assert bootstrap.python_with_setscrew() == python
    assert calls == [""]


def test_what_the_tests_need_is_enough_for_the_demo_but_not_the_other_way_round(checkout):
    _, calls = checkout
    bootstrap.python_with_setscrew("")
    bootstrap.python_with_setscrew("test")
    bootstrap.python_with_setscrew("")
    assert calls == ["", "test"]


@pytest.mark.parametrize("name", ["pyproject.toml", "constraints.txt"])
def test_other_dependencies_are_installed_again(checkout, name):
    folder, calls = checkout
    bootstrap.python_with_setscrew("test")
    (folder / name).write_text("2", encoding="utf-8")
    bootstrap.python_with_setscrew("")
    assert calls == ["test", ""]


def test_an_interrupted_installation_is_done_again(checkout, monkeypatch):
    _, calls = checkout

    def interrupted(python: Path, extra: str) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(bootstrap, "_install", interrupted)
        with pytest.raises(KeyboardInterrupt):
            bootstrap.python_with_setscrew()
    bootstrap.python_with_setscrew()
    assert calls == [""]


def test_an_active_virtual_environment_is_used_as_it_is(checkout, monkeypatch):
    folder, calls = checkout
    monkeypatch.setattr(sys, "prefix", str(folder / "mine"))
    (folder / "mine").mkdir()
    assert bootstrap.python_with_setscrew() == Path(sys.executable)
    assert calls == [""]
    assert not (folder / ".venv").exists()


def test_an_old_python_is_told_what_to_do(monkeypatch):
    monkeypatch.setattr(sys, "version_info", (3, 10, 9))
    with pytest.raises(bootstrap.CannotInstall, match=r"needs Python 3\.11 or newer"):
        bootstrap.python_with_setscrew()


def test_a_python_without_ensurepip_is_told_what_to_do(tmp_path, monkeypatch):
    monkeypatch.setattr(bootstrap.importlib.util, "find_spec", lambda name: None)
    with pytest.raises(bootstrap.CannotInstall, match="apt install python3-venv"):
        bootstrap._make_environment(tmp_path / ".venv", tmp_path / ".venv/bin/python")


@pytest.mark.parametrize(("runs", "made_by"), [(False, ["venv", "--clear"]), (True, ["ensurepip"])])
def test_an_environment_without_pip_gets_it_and_a_broken_one_is_made_anew(tmp_path, monkeypatch, runs, made_by):
    """Broken: its Python has gone, as when a checkout or Python itself was moved."""
    python = bootstrap._python_of(tmp_path / ".venv")
    python.parent.mkdir(parents=True)
    if runs:
        python.symlink_to(sys.executable)
    called: list[list[str]] = []
    real = subprocess.run

    def run(command, **options):
        if "-c" in command:
            return real(command, **options)
        called.append(command)
        return subprocess.CompletedProcess(command, 0)

    monkeypatch.setattr(bootstrap.subprocess, "run", run)
    bootstrap._make_environment(tmp_path / ".venv", python)
    (command,) = called
    assert [word for word in command if word in ("venv", "ensurepip", "--clear")] == made_by


def test_the_exit_code_is_that_of_the_module_that_ran():
    assert bootstrap.run(Path(sys.executable), "demo_logs.no_such_module") == 1


def test_a_pip_that_fails_ends_the_start_with_words_and_a_code(tmp_path):
    """From outside, in a copy whose dependencies do not exist anywhere (pip is told not to look)."""
    for name in ("__init__.py", "__main__.py", "bootstrap.py"):
        (tmp_path / "demo_logs").mkdir(exist_ok=True)
        source = Path(bootstrap.__file__).parent / name
        (tmp_path / "demo_logs" / name).write_text(source.read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "pyproject.toml").write_text(NOWHERE, encoding="utf-8")
    (tmp_path / "constraints.txt").write_text("", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "demo_logs"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PIP_NO_INDEX": "1", "PIP_CONFIG_FILE": os.devnull},
        timeout=120,
    )
    assert done.returncode == 1
    assert "pip could not install" in done.stderr
    assert "Traceback" not in done.stderr


def test_what_was_installed_from_a_wheel_starts_where_it_was_called(tmp_path):
    """No checkout around it: nothing is to be installed, and a study is made in the caller's folder."""
    installed, folder = tmp_path / "installed", tmp_path / "folder"
    folder.mkdir()
    for package in ("ingest", "analysis", "dashboard", "demo_logs"):
        shutil.copytree(bootstrap.ROOT / package, installed / package, ignore=shutil.ignore_patterns("__pycache__"))
    command = [sys.executable, "-m", "demo_logs", "--study", "my.duckdb", "--port", "0", "--no-browser"]
    with subprocess.Popen(
        interruptible(command),
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(installed)},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
    ) as running:
        assert running.stdout is not None
        said = []
        for line in running.stdout:
            said.append(line)
            if line.startswith("Stop it with"):
                break
        assert any(line.startswith("Setscrew is at http://127.0.0.1:") for line in said), said
        assert not any("nstalling" in line for line in said)
        interrupt(running)
        running.stdout.read()
    assert running.returncode == 0
    assert (folder / "my.duckdb").exists()


def interrupt(running: "subprocess.Popen[str]") -> None:
    """Ctrl+C, which reaches the program and its children."""
    if os.name == "nt":
        running.terminate()
    else:
        os.killpg(running.pid, signal.SIGINT)
