"""`python -m demo_logs`: installs Setscrew where needed and opens the dashboard on the demo logs.

Further words go to `setscrew demo`, for example `--study my.duckdb`.
"""

from __future__ import annotations

import sys

from demo_logs import bootstrap


def main() -> int:
    try:
        python = bootstrap.python_with_setscrew()
    except bootstrap.CannotInstall as reason:
        print(reason, file=sys.stderr)
        return 1
    return bootstrap.run(python, "dashboard.cli", "demo", *sys.argv[1:])


if __name__ == "__main__":
    sys.exit(main())
