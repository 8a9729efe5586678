"""Time alive by place: sums made while the log is read, against a plain count from the events of the study."""

import random
from collections import Counter
from pathlib import Path

import pytest

from ingest.assembling import places
from ingest.capture import log_file
from ingest.study.store import Study, open_study
from tests.ingest.logs import Play, damage
from tests.ingest.studies import dictionary, event, imported, rows

KINDS = {
    "begin": ("run_start", {}),
    "over": ("run_end", {"how": "u8 ending"}),
    "enter": ("stage_start", {"n": "u8 stage"}),
    "fell": ("death", {"lives": "u8 lives"}),
    "wait": ("pause", {}),
    "go": ("resume", {}),
    "at": ("position", {"x": "u8 x", "y": "u8 y"}),
}
BORN = {"born": ("spawn", {"lives": "u8 lives"})}


def spent(study: Study) -> dict[tuple[int | None, int, int], int]:
    """(stage, x, y) -> milliseconds."""
    found = rows(
        study,
        "SELECT s.stage, p.x, p.y, sum(p.alive_us)::BIGINT FROM places p LEFT JOIN stages s USING "
        "(stage_id) GROUP BY ALL HAVING sum(p.alive_us) > 0",
    )
    return {(stage, x, y): us // 1000 for stage, x, y, us in found}


def test_a_run_by_hand(study: Study, tmp_path: Path) -> None:
    log = [
        dictionary(KINDS | BORN),
        event(500, "at", x=0, y=0),
        event(1000, "begin"),
        event(1000, "enter", n=1),
        event(1100, "at", x=3, y=7),  # 200 ms in the first cell, of 8 by 8 pixels
        event(1300, "at", x=159, y=250),  # off the screen below: the last cell; one second and no more
        event(3000, "at", x=8, y=0),  # until the death
        event(3400, "fell", lives=2),
        event(3500, "at", x=8, y=0),
        event(4000, "born", lives=2),
        event(4050, "at", x=8, y=7),
        event(4100, "wait"),
        event(4200, "at", x=8, y=7),
        event(4300, "go"),
        event(4400, "at", x=0, y=0),  # until the next stage
        event(4450, "enter", n=2),
        event(4500, "at", x=0, y=0),
        event(4900, "over", how=2),
        event(4950, "at", x=0, y=0),
    ]
    imported(study, tmp_path / "a.playlog", log)
    assert spent(study) == {(1, 0, 0): 200 + 50, (1, 152, 120): 1000, (1, 8, 0): 400 + 50, (2, 0, 0): 400}
    assert rows(study, "SELECT DISTINCT cell_px FROM places") == [(8,)]


@pytest.mark.parametrize("ending, alive", [(1, False), (2, True)])
def test_the_last_life_of_a_game_without_spawns_may_be_none(
    study: Study, tmp_path: Path, ending: int, alive: bool
) -> None:
    log = [
        dictionary(KINDS),
        event(1000, "begin"),
        event(1000, "at", x=0, y=0),
        event(1500, "fell", lives=1),
        event(1600, "at", x=8, y=0),
        event(1800, "fell", lives=1),
        event(1900, "at", x=16, y=0),
        event(2000, "over", how=ending),
    ]
    imported(study, tmp_path / "a.playlog", log)
    assert spent(study) == {(None, 0, 0): 500, (None, 8, 0): 200} | ({(None, 16, 0): 100} if alive else {})


def counted(study: Study) -> Counter[tuple[int, int | None, int, int]]:
    """The same by a plain loop over positions, lives and pauses, as tables of the study have them."""
    time: Counter[tuple[int, int | None, int, int]] = Counter()
    changes = (
        "SELECT run_id, start_us AS at FROM lives UNION SELECT run_id, end_us FROM lives UNION SELECT run_id, start_us "
        "FROM stages UNION SELECT run_id, end_us FROM stages UNION SELECT run_id, at_us FROM pause_events "
        "UNION SELECT run_id, at_us FROM resume_events"
    )
    for run_id, start_us, end_us in rows(study, "SELECT run_id, start_us, end_us FROM all_runs"):
        at = rows(study, "SELECT at_us, stage_id, x, y FROM position_events WHERE run_id = ? ORDER BY at_us", run_id)
        paused = [
            (us, what)
            for us, what in rows(
                study,
                "SELECT at_us, true FROM pause_events WHERE run_id = $1 UNION ALL SELECT at_us, false FROM "
                "resume_events WHERE run_id = $1 ORDER BY 1",
                run_id,
            )
        ]
        lives = rows(study, "SELECT start_us, end_us FROM lives WHERE run_id = ?", run_id)
        marks = sorted(us for _, us in rows(study, f"SELECT * FROM ({changes}) WHERE run_id = ?", run_id))
        for number, (us, stage, x, y) in enumerate(at):
            following = at[number + 1][0] if number + 1 < len(at) else end_us
            until = min([following, us + 1_000_000, *(mark for mark in marks if mark > us)])
            halted = [what for moment, what in paused if moment <= us]
            if any(a <= us < b for a, b in lives) and not (halted and halted[-1]):
                time[run_id, stage, min(x, 159) // 8 * 8, min(y, 127) // 8 * 8] += until - us
        assert start_us <= end_us
    return +time


def total(study: Study) -> Counter[tuple[int, int | None, int, int]]:
    found = rows(study, "SELECT run_id, stage_id, x, y, sum(alive_us)::BIGINT FROM places GROUP BY ALL")
    return +Counter({tuple(key): us for *key, us in found})


@pytest.mark.parametrize("seed", range(12))
def test_against_a_plain_count(tmp_path: Path, seed: int) -> None:
    """Ticks are made to differ, so that order and time say the same."""
    log = Play(seed, runs=6, resets=False, steps=(1, 300, 20_000, 70_000, 700_000, 3_000_000)).log()
    with open_study(tmp_path / "s.duckdb") as study:
        imported(study, tmp_path / "a.playlog", log)
        assert total(study) == counted(study)
        assert sum(counted(study).values()) > 0


@pytest.mark.parametrize("seed", range(12))
def test_however_the_log_is_cut(tmp_path: Path, seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    dice = random.Random(seed)
    log = damage(Play(seed, runs=12).log(), dice, seed % 4)
    found = []
    for chunk, bins in ((1 << 20, 1 << 21), (dice.randrange(50, 400), 1 << 21), (dice.randrange(50, 400), 1)):
        monkeypatch.setattr(log_file, "CHUNK_BYTES", chunk)
        monkeypatch.setattr(places, "_MOST_BINS", bins)
        with open_study(tmp_path / f"s{len(found)}.duckdb") as study:
            imported(study, tmp_path / f"a{len(found)}.playlog", log)
            found.append(rows(study, "SELECT * FROM places ORDER BY ALL"))
    assert found[0] == found[1] == found[2]


def test_a_run_too_long_to_hold_is_handed_over_in_parts(
    study: Study, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(places, "_MOST_HELD", 10)
    monkeypatch.setattr(log_file, "CHUNK_BYTES", 100)
    log = [dictionary(KINDS), event(1000, "begin")]
    log += [event(1000 + 100 * n, "at", x=n % 16, y=0) for n in range(200)]
    imported(study, tmp_path / "a.playlog", [*log, event(21_000, "over", how=1)])
    assert sum(spent(study).values()) == 200 * 100
    assert len(rows(study, "SELECT * FROM places")) > 10
