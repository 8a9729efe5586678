"""Lives whose beginning was lost, and lives that turn out to have been none: worked out by hand from FORMAT.md, 7."""

import random
from pathlib import Path

import pytest

from ingest.assembling import ledger
from ingest.capture import log_file
from ingest.study.store import Study, open_study
from tests.ingest.logs import Play, damage
from tests.ingest.studies import Line, dictionary, event, imported, rows

KINDS = {
    "begin": ("run_start", {}),
    "over": ("run_end", {"how": "u8 ending"}),
    "enter": ("stage_start", {"n": "u8 stage"}),
    "leave": ("stage_end", {"ok": "u8 cleared"}),
    "fell": ("death", {}),
    "took": ("pickup", {"tier": "u8 tier"}),
    "at": ("position", {"x": "u8 x", "y": "u8 y"}),
    "fire": ("shot", {}),
    "key": ("press", {"late": "u8 ago"}),
}
BORN = {"born": ("spawn", {})}
LOST: Line = {"drop": 1}
BEGIN = [event(1000, "begin"), event(1000, "enter", n=1), event(2000, "fell")]


def lives(study: Study) -> list[tuple[object, ...]]:
    """Number, start and end in ms, whether the player died, whether the beginning was lost."""
    asked = "SELECT number, start_us // 1000, end_us // 1000, died, inferred FROM lives ORDER BY run_id, number"
    return rows(study, asked)


def play(study: Study, tmp_path: Path, *events: Line, born: bool = True) -> None:
    imported(study, tmp_path / "a.playlog", [dictionary(KINDS | (BORN if born else {})), *BEGIN, *events])


@pytest.mark.parametrize("sign", [event(3000, "at", x=1), event(3000, "fire"), event(3050, "key", late=50)])
def test_a_life_whose_spawn_was_lost_begins_at_the_first_sign_of_it(study: Study, tmp_path: Path, sign: Line) -> None:
    play(
        study,
        tmp_path,
        LOST,
        sign,
        event(4000, "at", x=2),
        event(5000, "fell"),
        event(6000, "born"),
        event(7000, "over", how=2),
    )
    assert lives(study) == [(1, 1000, 2000, True, False), (2, 3000, 5000, True, True), (3, 6000, 7000, False, False)]
    assert rows(study, "SELECT alive_us, damaged FROM runs") == [(4_000_000, True)]
    assert rows(study, "SELECT life, alive_us, ended_by FROM spells ORDER BY start_us") == [
        (1, 1_000_000, "death"),
        (2, 2_000_000, "death"),
        (3, 1_000_000, "quit"),
    ]


def test_signs_before_the_loss_are_of_the_dead(study: Study, tmp_path: Path) -> None:
    """A game that samples positions while the player is dead: what is missing tells where the spawn was."""
    play(
        study,
        tmp_path,
        event(2100, "at", x=1),
        LOST,
        event(3000, "at", x=1),
        event(4000, "fell"),
        event(4500, "over", how=1),
    )
    assert lives(study) == [(1, 1000, 2000, True, False), (2, 3000, 4000, True, True)]


@pytest.mark.parametrize("what", [event(3000, "born"), event(3000, "over", how=1), event(3000, "over", how=2)])
def test_signs_of_the_dead_are_no_life_where_nothing_is_missing(study: Study, tmp_path: Path, what: Line) -> None:
    play(study, tmp_path, event(2100, "at", x=1), event(2200, "key"), event(2300, "leave", ok=1), what)
    assert rows(study, "SELECT sum(alive_us)::BIGINT FROM spells") == [(1_000_000,)]
    assert rows(study, "SELECT alive_us, deaths FROM stages") == [(1_000_000, 1)]
    assert rows(study, "SELECT alive_us FROM runs") == [(1_000_000,)]
    assert rows(study, "SELECT coalesce(sum(alive_us), 0)::BIGINT FROM places") == [(0,)]
    assert len(lives(study)) == 1 + (what["kind"] == "born")


def test_a_death_proves_a_life_also_where_nothing_is_missing(study: Study, tmp_path: Path) -> None:
    """Two deaths without a spawn between them: the game did not log it."""
    play(study, tmp_path, event(2500, "at", x=1), event(3000, "fell"), event(3500, "fell"), event(4000, "over", how=1))
    assert lives(study) == [(1, 1000, 2000, True, False), (2, 2500, 3000, True, True), (3, 3500, 3500, True, True)]


def test_a_spawn_that_comes_after_all_begins_the_life(study: Study, tmp_path: Path) -> None:
    play(
        study,
        tmp_path,
        LOST,
        event(2500, "at", x=8),
        event(2600, "took", tier=1),
        event(3000, "born"),
        event(3000, "at", x=0),
        event(3400, "over", how=0),
    )
    assert lives(study) == [(1, 1000, 2000, True, False), (2, 3000, 3400, False, False)]
    assert rows(study, "SELECT x, alive_us FROM places") == [(0, 400_000)]
    assert rows(study, "SELECT tier, alive_us FROM spells ORDER BY start_us") == [(0, 1_000_000), (1, 400_000)]


@pytest.mark.parametrize(
    "between", [(event(3000, "leave", ok=1),), (event(3000, "took", tier=1),), (event(3000, "enter", n=2),)]
)
def test_no_time_of_a_life_taken_back_is_left(study: Study, tmp_path: Path, between: tuple[Line, ...]) -> None:
    """Without spawns and lives, only the game over tells that the death at 2 s was the last."""
    play(study, tmp_path, *between, event(5000, "over", how=1), born=False)
    assert rows(study, "SELECT sum(alive_us)::BIGINT, count(*) FROM spells") == [(1_000_000, 1)]
    assert rows(study, "SELECT sum(alive_us)::BIGINT FROM stages") == [(1_000_000,)]
    assert rows(study, "SELECT alive_us FROM runs") == [(1_000_000,)]
    assert lives(study) == [(1, 1000, 2000, True, False)]


def test_a_death_makes_the_life_before_it_one(study: Study, tmp_path: Path) -> None:
    play(
        study,
        tmp_path,
        event(3000, "leave", ok=1),
        event(3500, "enter", n=2),
        event(4000, "fell"),
        event(5000, "over", how=1),
        born=False,
    )
    assert rows(study, "SELECT sum(alive_us)::BIGINT FROM spells") == [(3_000_000,)]
    assert rows(study, "SELECT stage, alive_us, deaths FROM stages ORDER BY stage") == [
        (1, 2_000_000, 1),
        (2, 500_000, 1),
    ]


def test_what_waits_for_a_life_is_bounded(study: Study, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ledger, "MOST_WAITING", 5)
    changes = [event(2000 + 100 * i, "took", tier=i % 2 + 1) for i in range(1, 20)]
    play(study, tmp_path, *changes, event(5000, "over", how=1), born=False)
    assert len(lives(study)) == 2 and rows(study, "SELECT alive_us FROM runs") == [(4_000_000,)]


@pytest.mark.parametrize("seed", range(15))
def test_sums_agree_however_the_log_is_cut(tmp_path: Path, seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Time alive is the same by run, life and spell, and stages have no more of it."""
    dice = random.Random(seed)
    log = damage(Play(seed, runs=8).log(), dice, 12)
    found = []
    for chunk in (700_000, 61, 200):
        monkeypatch.setattr(log_file, "CHUNK_BYTES", chunk)
        with open_study(tmp_path / f"{chunk}.duckdb") as study:
            imported(study, tmp_path / "a.playlog", log)
            runs = dict(rows(study, "SELECT run_id, alive_us FROM all_runs"))
            for table in ("lives", "spells"):
                own = dict(rows(study, f"SELECT run_id, sum(alive_us)::BIGINT FROM {table} GROUP BY 1"))
                assert {run: own.get(run, 0) for run in runs} == runs
            staged = rows(study, "SELECT run_id, sum(alive_us)::BIGINT FROM stages GROUP BY 1")
            assert all(0 <= us <= runs[run] for run, us in staged)
            found.append(
                [rows(study, f"SELECT * FROM {t} ORDER BY ALL") for t in ("lives", "spells", "stages", "places")]
            )
    assert found[0] == found[1] == found[2]
