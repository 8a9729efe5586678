"""What a hostile log costs: short forms of tests/bench/ingest/hostile.py, each import in a process of its own."""

from pathlib import Path

import pytest

from ingest.study.store import Study
from ingest.wire.framing import Framer
from tests.bench.ingest.hostile import _AT, _GO, Packets, _plain, measured, write
from tests.ingest.studies import imported, rows

_MOST_MB = 500


@pytest.mark.parametrize(
    ("name", "size"),
    [("broken_frames", 3_000_000), ("many_dictionaries", 800_000), ("builds", 110_000), ("runs_without_build", 30_000)],
)
def test_memory_and_time_are_bounded(tmp_path: Path, name: str, size: int) -> None:
    found = measured(write(name, size, tmp_path), tmp_path / "s.duckdb")
    assert found["peak_mb"] < _MOST_MB
    # Seconds of CPU time here: 0.5, 4, 1 and 3; before, 13, more than 300, 60 and 60.
    assert found["cpu_s"] < 20


def test_frames_that_are_none_are_counted_all_and_kept_as_numbers() -> None:
    found = Framer().feed(b"\x01\0" * 350_000)
    assert found.bad_offset.nbytes + found.bad_code.nbytes < 4_000_000 and len(found.bad_reason) == 350_000


def test_damage_after_a_reset_marks_no_run_before_it(study: Study, tmp_path: Path) -> None:
    """A run is cut by a reset; then events are dropped, frames broken and packets missing, before the next run."""
    make, dictionary = Packets(), _plain(_GO, _AT)
    log = make.begin(dictionary) + make(4, b"\0\4ab", 10)
    log += make(3, dictionary.id.to_bytes(2, "little") + b"\2\0\0\0", 20, dropped=7)
    log += b"\x01\0" * 3 + make(1, b"\4ab", 30, dropped=7, step=5)
    result = imported(study, tmp_path / "a.playlog", log)
    assert (result.dropped_events, result.rejected_packets, result.missing_packets) == (7, 3, 4)
    assert rows(study, "SELECT ending, damaged FROM all_runs ORDER BY number")[0] == ("cut", False)
