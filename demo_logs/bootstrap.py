"""Makes an environment with Setscrew in it, on a machine that has nothing but Python and pip.

Standard library only, and no syntax newer than the message to those whose Python is too old.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
OLDEST = (3, 11)


class CannotInstall(Exception):
    """Setscrew cannot be installed here; the message says why and what to do."""


def python_with_setscrew(extra: str = "") -> Path:
    """A Python that has Setscrew and the dependencies of `extra` ("" or "test"), installed if need be.

    Where Setscrew was installed from a wheel, there is no checkout, and this very Python has all that is needed.
    In a virtual environment that is this very Python too; otherwise the one of .venv in the checkout, which is
    made. A stamp in the environment says what was installed last, so that the second start is quick.
    Raises CannotInstall.
    """
    if sys.version_info < OLDEST:
        oldest, version = ".".join(map(str, OLDEST)), sys.version.split()[0]
        raise CannotInstall(
            f"Setscrew needs Python {oldest} or newer; this is {version} ({sys.executable}). "
            "Call it with a newer one, for example: python3.12 -m demo_logs"
        )
    if not (ROOT / "pyproject.toml").is_file():
        return Path(sys.executable)
    in_environment = sys.prefix != sys.base_prefix
    folder = Path(sys.prefix) if in_environment else ROOT / ".venv"
    python = Path(sys.executable) if in_environment else _python_of(folder)
    # What the tests need includes all that the demo needs.
    if any(_installed(folder, python, done) for done in (extra, "test")):
        return python
    if not _has(python, "pip"):
        _make_environment(folder, python)
    _install(python, extra)
    _stamp(folder, extra).write_text(_wanted(python, extra), encoding="utf-8")
    return python


def run(python: Path, *words: str, folder: Path | None = None) -> int:
    """The exit code of `python -m WORDS...` in `folder`, by default where this was called.

    Ctrl-C reaches the child by itself, which ends in its own way; this waits for it.
    """
    with subprocess.Popen([str(python), "-m", *words], cwd=folder) as child:
        while True:
            try:
                return child.wait()
            except KeyboardInterrupt:
                continue


def _python_of(environment: Path) -> Path:
    return environment / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def _stamp(folder: Path, extra: str) -> Path:
    return folder / f"setscrew{'-' + extra if extra else ''}.stamp"


def _wanted(python: Path, extra: str) -> str:
    """Changes whenever what would be installed changes: pins, dependencies, checkout, Python or extra."""
    parts = [str(ROOT), str(python), sys.version, extra]
    parts += [(ROOT / name).read_text(encoding="utf-8") for name in ("pyproject.toml", "constraints.txt")]
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()


def _installed(folder: Path, python: Path, extra: str) -> bool:
    stamp = _stamp(folder, extra)
    return stamp.is_file() and stamp.read_text(encoding="utf-8") == _wanted(python, extra) and _has(python, "dash")


def _has(python: Path, module: str) -> bool:
    """Whether `python` runs, is new enough and finds `module`."""
    find = f"u.find_spec({module!r}) is None"
    check = f"import importlib.util as u, sys; sys.exit(sys.version_info < {OLDEST} or {find})"
    try:
        return subprocess.run([str(python), "-c", check], capture_output=True, check=False).returncode == 0
    except OSError:
        return False


def _make_environment(folder: Path, python: Path) -> None:
    if importlib.util.find_spec("ensurepip") is None or importlib.util.find_spec("venv") is None:
        raise CannotInstall(
            f"There is no pip in {folder}, and this Python comes without ensurepip, so it cannot be made. "
            "On Debian and Ubuntu: apt install python3-venv. Or make a virtual environment in another way, "
            "with pip in it, start it, and call this again from within."
        )
    if _has(python, "ensurepip"):  # an environment without pip: a start that was interrupted, or another tool's
        made = subprocess.run([str(python), "-m", "ensurepip"], stdout=subprocess.DEVNULL, check=False)
    else:  # none, or one whose Python has gone
        print(f"Making a virtual environment in {folder}", flush=True)
        made = subprocess.run([sys.executable, "-m", "venv", "--clear", str(folder)], check=False)
    if made.returncode:
        raise CannotInstall(
            f"No virtual environment could be made in {folder}; Python's own words are above. On Debian and "
            "Ubuntu: apt install python3-venv. Is there room on the disk, and may you write there?"
        )


def _install(python: Path, extra: str) -> None:
    what = f".[{extra}]" if extra else "."
    print("Installing Setscrew and what it needs (once; it may take some minutes)", flush=True)
    options = ["--disable-pip-version-check", "--quiet", "-c", "constraints.txt", "-e", what]
    installed = subprocess.run([str(python), "-m", "pip", "install", *options], cwd=ROOT, check=False)
    if installed.returncode:
        raise CannotInstall(
            "pip could not install all that is needed; its own words are above. The first start needs the net. "
            f"To see more: {python} -m pip install -c constraints.txt -e {what}"
        )
