"""Fixtures of the ingest tests."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from ingest.study.store import Study, open_study


@pytest.fixture
def study(tmp_path: Path) -> Iterator[Study]:
    """An empty study."""
    with open_study(tmp_path / "study.duckdb") as opened:
        yield opened
