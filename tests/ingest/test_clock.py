"""Clock drift against the PC, from recordings whose true drift is known because they were made here."""

import json
from pathlib import Path

import numpy as np
import pytest

from ingest.capture.clock import drift_ppm
from ingest.study.store import Study, import_log
from tests.ingest.studies import dictionary, event, log_of, rows


def recording(drift: float, seconds: float, seed: int, jitter_s: float = 0.3) -> tuple[np.ndarray, ...]:
    """Arrivals and packets of a console whose clock runs `drift` millionths fast, packets up to `jitter_s` late."""
    rng = np.random.default_rng(seed)
    sent_s = np.arange(0, seconds, 0.25)
    offset = np.arange(len(sent_s)) * 100
    late = rng.uniform(0.002, jitter_s, len(sent_s))
    arrival_s = np.maximum.accumulate(sent_s + late)
    return arrival_s, offset + 100, offset, 17.0 + sent_s * (1 + drift * 1e-6)


@pytest.mark.parametrize("drift", [-10_000.0, -50.0, 0.0, 35.0, 4000.0])
def test_drift_is_found(drift: float) -> None:
    """Ten minutes: a third of a second of jitter must not hide some tens of millionths, nor a sign be wrong."""
    found = [drift_ppm(*recording(drift, 600, seed)) for seed in range(20)]
    errors = np.array([value - drift for value in found if value is not None])
    assert len(errors) == 20
    assert np.max(np.abs(errors)) < 40 and abs(np.median(errors)) < 15


def test_a_jam_of_one_minute_does_not_move_it() -> None:
    arrival_s, arrived, offset, tick_s = recording(20, 900, 1)
    jam = (arrival_s > 300) & (arrival_s < 360)
    arrival_s[jam] = 360
    found = drift_ppm(arrival_s, arrived, offset, tick_s)
    assert found is not None and abs(found - 20) < 40


def test_where_nothing_can_be_told() -> None:
    assert drift_ppm(*recording(20, 30, 1)) is None
    empty = np.zeros(0)
    assert drift_ppm(empty, empty, empty, empty) is None
    assert drift_ppm(np.zeros(1), np.zeros(1), *recording(20, 300, 1)[2:]) is None


def test_a_log_that_came_all_at_once_tells_nothing() -> None:
    """Each second of the console then took no time at all: a slope of -1, by which nothing can be divided."""
    _, arrived, offset, tick_s = recording(20, 300, 1)
    assert drift_ppm(np.full(len(arrived), 5.0), arrived, offset, tick_s) is None
    # Played twice as fast as it was logged: no oscillator is off by so much.
    assert drift_ppm((tick_s - 17.0) / 2 + 0.01, arrived, offset, tick_s) is None


def test_packets_that_all_bear_the_same_time_tell_nothing() -> None:
    arrival_s, arrived, offset, tick_s = recording(20, 300, 1)
    with np.errstate(all="raise"):  # nothing may be divided by the time that did not pass
        assert drift_ppm(arrival_s, arrived, offset, np.full(len(tick_s), 17.0)) is None


def test_drift_of_a_capture(study: Study, tmp_path: Path) -> None:
    """From a log and its sidecar, over two power-ups; the clock of the console runs 500 millionths slow."""
    line = dictionary({"at": ("position", {"x": "u8 x"})}, clock=10_000)
    lines = [line, *(event(int(2000 * i * (1 - 500e-6)), "at", x=i % 160) for i in range(1, 1500))]
    log = log_of(lines)
    path = tmp_path / "a.playlog"
    path.write_bytes(log + log)
    # When each byte came: as the packets were sent, 0.2 s an event.
    from tests.ingest.product import product

    said = [{"capture": 1, "started": "2026-03-01T09:30:00+00:00", "source": "x"}]
    for part in range(2):
        for _, offset, tick, _, _ in product([log]).events[::2]:
            said.append({"at": 400 * part + tick / 10_000 / (1 - 500e-6) + 0.01, "byte": part * len(log) + offset + 60})
    path.with_suffix(".capture.jsonl").write_text("".join(json.dumps(one) + "\n" for one in said), encoding="utf-8")
    import_log(study, path)
    drifts = [row[0] for row in rows(study, "SELECT drift_ppm FROM power_ups ORDER BY number")]
    assert len(drifts) == 2
    assert all(abs(drift + 500) < 60 for drift in drifts), drifts


def test_the_clock_wraps_and_goes_on(study: Study, tmp_path: Path) -> None:
    """32-bit microseconds wrap every 71.6 min (2^32 / 10^6 / 60): here three times in one power-up."""
    assert round(2**32 / 1e6 / 60, 1) == 71.6
    times = [1000, (1 << 32) - 5, (1 << 32) + 5, 3 << 31, (3 << 32) + 7]
    line = dictionary({"at": ("position", {"x": "u8 x"})}, clock=1_000_000)
    path = tmp_path / "a.playlog"
    path.write_bytes(log_of([line, *(event(t, "at", x=i) for i, t in enumerate(times))]))
    result = import_log(study, path)
    assert (result.power_ups, result.missing_packets) == (1, 0)
    assert [row[0] for row in rows(study, "SELECT at_us FROM position_events ORDER BY x")] == times
    assert rows(study, "SELECT last_us FROM power_ups") == [(times[-1],)]
