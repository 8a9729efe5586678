"""A log that comes twice, damaged on the way, counts once: of each stretch the better copy."""

import itertools
from pathlib import Path

import pytest

from ingest.said.forgetting import forget_capture
from ingest.said.notes import note_run
from ingest.study.capture_counts import About
from ingest.study.store import ImportResult, Study, import_log, open_study
from tests.ingest.studies import dictionary, event, log_of, recorded_at, rows
from tests.ingest.test_order import answers, content

DEMO = Path(__file__).parents[2] / "demo_logs"
KINDS = {
    "begin": ("run_start", {"who": "u8 player"}),
    "over": ("run_end", {"how": "u8 ending"}),
    "fell": ("death", {"x": "u8 x", "why": "u8 cause"}),
    "at": ("position", {"x": "u8 x", "y": "u8 y"}),
}
RUNS = 12
# What is counted of runs, without the numbers that tell one study from another.
COUNTED = "SELECT player, attempt, start_us, end_us, alive_us, deaths, ending, damaged FROM runs ORDER BY start_us, 1"


def console(nonce: int, runs: int = RUNS, clock: int = 1000, first: int = 0, seed: int = 0) -> bytes:
    """A log of one power-up: runs of a few seconds with a position every 100 ms; other `seed`s play otherwise."""
    lines = [dictionary(KINDS, clock=clock), {"power_up": nonce}]
    ms = clock // 1000
    t = first + 977 * seed * ms
    for n in range(runs):
        t += (1500 + 37 * seed) * ms
        lines.append(event(t, "begin", who=1 + (n + seed) % 4))
        for step in range(30 + (7 * n + 5 * seed) % 11):
            t += 100 * ms
            lines.append(event(t, "at", x=(13 * step + n) % 160, y=(7 * step + seed) % 120))
        lines.append(event(t + 30 * ms, "fell", x=n, why=1))
        t += 50 * ms
        lines.append(event(t, "over", how=1))
    return log_of(lines)


def frames(log: bytes) -> list[bytes]:
    return [frame + b"\0" for frame in log.split(b"\0") if frame]


def without(log: bytes, *parts: tuple[float, float]) -> bytes:
    """`log` without the frames in these parts of it, each from 0 to 1: what a bad copy lost."""
    all_ = frames(log)
    lost = {i for a, b in parts for i in range(int(a * len(all_)), int(b * len(all_)))}
    return b"\0" + b"".join(frame for i, frame in enumerate(all_) if i not in lost)


def taken(study: Study, folder: Path, logs: dict[str, bytes]) -> dict[str, ImportResult]:
    results = {}
    for name, log in logs.items():
        (folder / f"{name}.playlog").write_bytes(log)
        results[name] = import_log(study, folder / f"{name}.playlog")
    return results


def copy_notices(study: Study) -> dict[str, str]:
    asked = "SELECT name, what FROM notices JOIN captures USING (capture_id) WHERE about = ?"
    return dict(rows(study, asked, About.COPY.value))


DAMAGE = {
    "front": [(0.0, 0.4)],
    "front, within a run": [(0.0, 0.37)],
    "middle": [(0.4, 0.6)],
    "end": [(0.6, 1.0)],
    "here and there": [(0.1, 0.15), (0.33, 0.34), (0.7, 0.72), (0.97, 1.0)],
}


@pytest.mark.parametrize("what", DAMAGE)
@pytest.mark.parametrize("first", ["whole", "copy"])
def test_a_damaged_copy_counts_once_before_and_after_the_whole(
    study: Study, tmp_path: Path, what: str, first: str
) -> None:
    whole = console(5)
    copy = without(whole, *DAMAGE[what])
    logs = {"whole": whole, "copy": copy} if first == "whole" else {"copy": copy, "whole": whole}
    results = taken(study, tmp_path, logs)
    with open_study(tmp_path / "alone.duckdb") as alone:
        taken(alone, tmp_path, {"whole": whole})
        assert rows(study, COUNTED) == rows(alone, COUNTED)
        assert not copy_notices(alone)
    last = list(results)[-1]
    (notice,) = (one for one in results[last].notices if one.about == About.COPY)
    assert next(iter(logs)) + ".playlog" in notice.what
    assert "0 from this log" in copy_notices(study)["copy.playlog"]


def test_of_each_stretch_the_better_copy_counts(study: Study, tmp_path: Path) -> None:
    """Three copies that lost other parts: together they have every run whole. In any order the same."""
    whole = console(5)
    logs = {"a": without(whole, (0.0, 0.4)), "b": without(whole, (0.3, 0.7)), "c": without(whole, (0.6, 1.0))}
    taken(study, tmp_path, logs)
    expected, counted = content(study), rows(study, COUNTED)
    assert len(counted) == RUNS and not any(row[-1] for row in counted)
    assert set(copy_notices(study)) == {f"{name}.playlog" for name in logs}
    with open_study(tmp_path / "alone.duckdb") as alone:
        taken(alone, tmp_path, {"whole": whole})
        assert counted == rows(alone, COUNTED)
    for number, order in enumerate(list(itertools.permutations(logs))[1:]):
        with open_study(tmp_path / f"{number}.duckdb") as other:
            taken(other, tmp_path, {name: logs[name] for name in order})
            assert content(other) == expected


def test_forgetting_one_copy_gives_what_importing_the_other_gives(tmp_path: Path) -> None:
    whole = console(5)
    logs = {"a": without(whole, (0.0, 0.5)), "b": without(whole, (0.4, 0.9)), "other": console(9, seed=3)}
    for gone in ("a", "b"):
        left = {name: log for name, log in logs.items() if name != gone}
        with (
            open_study(tmp_path / f"without_{gone}.duckdb") as expected,
            open_study(tmp_path / f"forgot_{gone}.duckdb") as study,
        ):
            taken(expected, tmp_path, left)
            results = taken(study, tmp_path, logs)
            assert content(study) != content(expected)
            forget_capture(study, results[gone].capture_id)
            assert content(study) == content(expected) and answers(study) == answers(expected)


def test_two_consoles_of_one_nonce_stay_two(study: Study, tmp_path: Path) -> None:
    """Boards that count their nonces from 1, whose first run begins by itself in the same tick with the same events."""
    logs = {f"c{seed}": console(1, seed=seed) for seed in range(3)}
    head = [dictionary(KINDS), {"power_up": 1}, event(100, "begin", who=0), event(200, "at", x=1, y=1)]
    for name, x in (("left", 3), ("right", 8)):
        tail = [event(300 + 7 * n * x, "at", x=(n * x) % 160, y=n) for n in range(1, 40)]
        logs[name] = log_of([*head, *tail, event(20_000 + x, "fell", x=x, why=1)])
    taken(study, tmp_path, logs)
    assert rows(study, "SELECT count(*) FROM runs") == [(3 * RUNS + 2,)] and not copy_notices(study)
    # A copy of one of them is a copy of that one alone.
    taken(study, tmp_path, {"again": without(logs["c1"], (0.5, 0.8))})
    assert rows(study, "SELECT count(*) FROM runs") == [(3 * RUNS + 2,)]
    assert set(copy_notices(study)) == {"c1.playlog", "again.playlog"}


PRESSED = {
    "begin": ("run_start", {"who": "u8 player"}),
    "over": ("run_end", {"how": "u8 ending"}),
    "song": ("stage_start", {"which": "u8 song"}),
    "due": ("note", {"lane": "u8 lane", "in": "u16 ahead"}),
    "tap": ("press", {"lane": "u8 lane"}),
}


def song(presses: int, late: int) -> bytes:
    """A console that starts one song by itself: its notes, and so many presses, each so many ms late."""
    lines = [event(1000, "begin", who=0), event(1000, "song", which=1)]
    told = [event(1500 + 250 * n, "due", **{"lane": n % 2, "in": 300}) for n in range(240)]
    told += [event(1800 + 250 * (4 * n) + late, "tap", lane=0) for n in range(presses)]
    lines += sorted(told, key=lambda line: line["t"])
    return log_of([dictionary(PRESSED), {"power_up": 7}, *lines, event(62_000, "over", how=0)])


@pytest.mark.parametrize("presses, damage", [(1, []), (7, []), (7, [(0.5, 0.53)]), (50, [(0.5, 0.53)])])
def test_two_consoles_of_one_song_are_two_however_little_is_pressed(
    study: Study, tmp_path: Path, presses: int, damage: list[tuple[float, float]]
) -> None:
    """The same notes, starts and ends to the tick; the presses alone are the players'."""
    one, other = song(presses, 20), without(song(presses, 43), *damage)
    taken(study, tmp_path, {"one": one, "other": other})
    assert rows(study, "SELECT count(*) FROM runs") == [(2,)] and not copy_notices(study)
    # Each is still known again.
    taken(study, tmp_path, {"again": without(one, (0.6, 0.7))})
    assert rows(study, "SELECT count(*) FROM runs") == [(2,)]
    assert set(copy_notices(study)) == {"one.playlog", "again.playlog"}


def test_a_few_packets_of_a_run_are_a_copy_too(study: Study, tmp_path: Path) -> None:
    """After its settings, whatever stretch is left: no start, no end, no death, and so a run whose start was lost."""
    all_ = frames(console(5, runs=3))[4:]
    whole = b"\0" + b"".join(all_)
    taken(study, tmp_path, {"whole": whole})
    expected, lost = rows(study, COUNTED), 0
    for first in range(5, len(all_) - 2, 2):
        kept = b"".join([*all_[:2], *all_[first : first + 2]])
        (result,) = taken(study, tmp_path, {"copy": b"\0\0" + kept}).values()
        lost += result.lost_starts
        assert rows(study, COUNTED) == expected, first
        forget_capture(study, result.capture_id)
    assert lost > 5


def test_a_copy_cut_after_any_packet_changes_no_count(tmp_path: Path) -> None:
    whole = console(5, runs=3)
    all_ = frames(whole)
    with open_study(tmp_path / "s.duckdb") as study:
        taken(study, tmp_path, {"whole": whole})
        expected = rows(study, COUNTED)
        for lost in range(1, len(all_), 3):
            for kept in (all_[:-lost], all_[lost:]):
                # A byte in front: otherwise a log cut at its end is the beginning of the whole one, which has grown.
                (result,) = taken(study, tmp_path, {"copy": b"\0\0" + b"".join(kept)}).values()
                assert rows(study, COUNTED) == expected, lost
                forget_capture(study, result.capture_id)
        assert not copy_notices(study)


@pytest.mark.parametrize("clock", [32_768, 1_000_000, 10_000_000])
def test_a_copy_that_begins_after_the_clock_has_wrapped(study: Study, tmp_path: Path, clock: int) -> None:
    """The time of its first packet is taken as it stands, so it counts from elsewhere."""
    whole = console(5, clock=clock, first=(1 << 32) - 20 * clock)
    copy = without(whole, (0.0, 0.75))
    taken(study, tmp_path, {"whole": whole, "copy": copy})
    (shift,) = {abs(shift) for (shift,) in rows(study, "SELECT shift_us FROM twins")}
    assert abs(shift - (1 << 32) * 1_000_000 / clock) <= 1
    assert rows(study, "SELECT count(*), count(*) FILTER (damaged) FROM runs") == [(RUNS, 0)]


def test_what_was_said_of_a_copy_holds_for_the_run_that_counts(study: Study, tmp_path: Path) -> None:
    whole = console(5)
    copy = tmp_path / "copy.playlog"
    copy.write_bytes(without(whole, (0.0, 0.4)))
    recorded_at(copy, "2026-03-01T10:00:00+00:00")
    result = import_log(study, copy)
    ((key,),) = rows(study, "SELECT capture_key FROM captures")
    note_run(study.connection, key, 2, player="P77", remark="sun in the eyes")
    ((start,),) = rows(study, "SELECT start_us FROM runs WHERE player = 'P77'")
    taken(study, tmp_path, {"whole": whole})
    told = rows(study, "SELECT r.start_us, remark, played_at IS NOT NULL, capture_id FROM runs r WHERE player = 'P77'")
    assert told == [(start, "sun in the eyes", True, result.capture_id + 1)]


def test_a_damaged_copy_of_a_demo_log(study: Study, tmp_path: Path) -> None:
    """Bytes lost anywhere, not whole packets."""
    whole = (DEMO / "soot_wardens_a_table1.playlog").read_bytes()
    import_log(study, DEMO / "soot_wardens_a_table1.playlog")
    own = "run_id, power_up_id, capture_id, sha256, number, start_byte, played_at, place"
    counted = f"SELECT * EXCLUDE ({own}) FROM runs ORDER BY start_us"
    expected = rows(study, counted)
    size = len(whole)
    taken(
        study,
        tmp_path,
        {
            "front": whole[size // 3 :],
            "middle": whole[: size // 2] + whole[size // 2 + 9999 :],
            "end": b"\0" + whole[: size // 2],
        },
    )
    assert rows(study, counted) == expected
