"""Settings and fixtures that hold for every test."""

import os
from collections.abc import Iterator

import pytest

# One core a library: the arrays are small, and idle threads that spin slow the rest of the machine down.
for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Iterator[None]:
    """Where skips are forbidden, a skip by any other way (a marker, importorskip) is a failure as well."""
    report = yield
    if report.skipped and not hasattr(report, "wasxfail") and os.environ.get("SETSCREW_NO_SKIPS") == "1":
        report.outcome = "failed"
        report.longrepr = f"skipped where skips are forbidden: {call.excinfo.value if call.excinfo else ''}"
    return report
