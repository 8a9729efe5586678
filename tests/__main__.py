"""`python -m tests`: installs what the tests need, then runs the linter, the type checker and pytest.

Further words go to pytest: `python -m tests tests/ingest -k cobs`. The exit code is 0 when all passed.
"""

from __future__ import annotations

import sys

from demo_logs import bootstrap

CHECKS = (("ruff", "check", "."), ("ruff", "format", "--check", "."), ("mypy",))


def main() -> int:
    try:
        python = bootstrap.python_with_setscrew("test")
    except bootstrap.CannotInstall as reason:
        print(reason, file=sys.stderr)
        return 1
    failed = []
    for check in (*CHECKS, ("pytest", *sys.argv[1:])):
        print("==", *check, flush=True)
        if bootstrap.run(python, *check, folder=bootstrap.ROOT):
            failed.append(" ".join(check))
    if failed:
        print("failed:", ", ".join(failed))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
