"""`python -m tests`: installs what the tests need, then runs the linter, the type checker and pytest.

Further words go to pytest: `python -m tests tests/ingest -k cobs`; `-n0` runs all in one process.
The exit code is 0 when all passed.
"""

from __future__ import annotations

import sys

from demo_logs import bootstrap

# The library's stubs know what each system lacks: the type checker reads the code as it is on all three.
SYSTEMS = tuple(("mypy", "--platform", system) for system in ("linux", "win32", "darwin"))
CHECKS = (("ruff", "check", "."), ("ruff", "format", "--check", "."), *SYSTEMS)
# A file's tests stay in one process, which makes what they share only once. Each process has a browser of its own,
# which is why there are not more than four.
PYTEST = ("pytest", "--numprocesses", "auto", "--maxprocesses", "4", "--dist", "loadfile")


def main() -> int:
    try:
        python = bootstrap.python_with_setscrew("test")
    except bootstrap.CannotInstall as reason:
        print(reason, file=sys.stderr)
        return 1
    failed = []
    for check in (*CHECKS, (*PYTEST, *sys.argv[1:])):
        print("==", *check, flush=True)
        if bootstrap.run(python, *check, folder=bootstrap.ROOT):
            failed.append(" ".join(check))
    if failed:
        print("failed:", ", ".join(failed))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
