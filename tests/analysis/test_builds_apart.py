"""Builds are not pooled unasked: data in which what is said of several together would be false of each alone."""

import shutil
from pathlib import Path

import numpy as np
import pytest

import analysis
from analysis.findings.basis import Basis
from analysis.findings.players import skill
from analysis.findings.survival import risks
from analysis.findings.timing import hit_shares, songs_held_fixed
from analysis.reader import Columns
from analysis.selection import Selection
from analysis.stats.players.parts import slope_on_part
from ingest.study.store import import_log, open_study
from tests.analysis.timing.notes import timed_notes

DEMO = Path(__file__).parents[2] / "demo_logs"
SHOOTER, RHYTHM = "Soot Wardens", "Tin Drizzle"
A, B = "lantern 1.3", "lantern 1.3 b"


def study_of(folder: Path, *logs: str, timed: bool = True) -> Path:
    folder.mkdir(exist_ok=True)
    with open_study(folder / "s.duckdb") as study:
        for log in logs:
            shutil.copy(DEMO / f"{log}.playlog", folder)
            if timed:
                shutil.copy(DEMO / f"{log}.capture.jsonl", folder)
            import_log(study, folder / f"{log}.playlog")
    return folder / "s.duckdb"


@pytest.fixture(scope="module")
def shooter(tmp_path_factory):
    return study_of(tmp_path_factory.mktemp("timed"), "soot_wardens_a_table1", "soot_wardens_b_table1")


def runs_of(study: analysis.Study, build: str | None = None) -> int:
    runs = study.runs()
    chosen = runs["valid"].astype(bool) & ~runs["team"].astype(bool)
    return int((chosen & (runs["build"] == build if build else True)).sum())


def test_without_a_word_the_newest_build_is_meant(shooter):
    study = analysis.open(shooter)
    found = study.findings()
    assert found.games[0].selection.builds == (B,) and found.games[0].selection.newest
    assert found.games[0].runs == runs_of(study, B) < runs_of(study)
    assert f"build {B}, the newest" in found.text()
    assert found["deaths.causes"].sentence == study.findings(build=B)["deaths.causes"].sentence
    # What needs several builds keeps them.
    pair = found["survival.builds"].tables["pairs"].iloc[0]
    assert {pair["build_a"], pair["build_b"]} == {A, B}
    assert found["progress.target"].tables["builds"]["build"].tolist() == [A, B]


def test_all_builds_together_is_said_of_each_finding_that_pools_them(shooter):
    study = analysis.open(shooter)
    found = study.findings(build="all")
    assert found.games[0].runs == runs_of(study)
    for finding in found:
        pooled = finding.question not in ("trust", "progress") and finding.id not in ("survival.builds", "timing.none")
        assert finding.sentence.startswith(f"Builds {A} and {B} together: ") == pooled, finding.id


def test_which_build_is_the_newest_is_asked_and_not_guessed(tmp_path):
    path = study_of(tmp_path / "untimed", "soot_wardens_a_table1", "soot_wardens_b_table1", timed=False)
    study = analysis.open(path, read_only=False)
    found = study.findings()
    # What is printed without --all says it too, and what to do.
    printed = " ".join(found.text().split())
    assert "It is not known which of" in printed and "choose one, or all builds together" in printed
    assert found.games[0].selection.maybe_newest == (A, B)
    for finding in found:
        if finding.question not in ("trust", "progress"):
            assert finding.id == f"{finding.question}.none"
            assert "not known" in finding.sentence and A in finding.sentence and B in finding.sentence
    assert {f.runs for f in found if f.question == "trust"} == {runs_of(study)}
    study.compare(B, A, remember=True)
    assert study.findings().games[0].selection.builds == (A,)


def test_a_window_that_no_build_had_is_not_in_force():
    """45 ms at 0 with 64 % hit, 50 ms at -8 with 76 %: 70 % "at 45 to 50 ms and 0 or -4" would be true of neither."""
    error = np.r_[np.where(np.arange(800) % 100 < 64, 0.0, 90.0), np.where(np.arange(800) % 100 < 76, -8.0, 90.0)]
    build = np.repeat([0, 1], 800)
    notes = timed_notes(
        error,
        player=np.tile(np.arange(8), 200),
        build=build,
        builds=("1.0", "1.1"),
        run=build * 8 + np.tile(np.arange(8), 200),
        attempt=build + 1,
        early_ms=np.where(build, 50.0, 45.0),
        late_ms=np.where(build, 50.0, 45.0),
        offset_ms=np.where(build, -8.0, 0.0),
    )
    share, window = hit_shares.find(notes, ())
    assert "64 % of 800 notes on 1.0 (45 ms early to 45 ms late, input offset 0 ms)" in share.sentence
    assert "76 % of 800 notes on 1.1 (50 ms early to 50 ms late, input offset -8 ms)" in share.sentence
    assert "70 %" not in share.sentence and share.estimate is None
    in_force = ("early_ms", "late_ms", "offset_ms")
    assert all(np.isnan(finding.facts[name]) for finding in (share, window) for name in in_force)
    assert share.headline == ""
    assert "today's" not in window.sentence and "moved" not in window.tables
    alone = hit_shares.find(notes.where(build == 1), ())[0]
    assert alone.estimate.value == pytest.approx(0.76) and alone.facts["offset_ms"] == -8


def rhythm_of(rng, players=10, notes=60):
    """Three attempts on a build with offset 0, three on one with -30, on which the hands lie; nobody learns."""
    player, attempt, _ = (a.ravel() for a in np.indices((players, 6, notes)))
    build = (attempt >= 3).astype(int)
    error = rng.normal(-30, 20, player.size) + rng.normal(0, 4, players)[player]
    return timed_notes(
        error,
        player=player,
        build=build,
        builds=("1.0", "1.1"),
        run=player * 6 + attempt,
        attempt=attempt + 1,
        offset_ms=np.where(build, -30.0, 0.0),
        early_ms=35.0,
        late_ms=35.0,
    )


def test_a_moved_offset_is_no_learning():
    rng = np.random.default_rng(11)
    told = 0
    for _ in range(60):
        notes = rhythm_of(rng)
        hit = [notes.hit[notes.build == b].mean() for b in (0, 1)]
        assert hit[1] - hit[0] > 0.2  # what the two together would show from the first to the last attempt
        learning = next(f for f in songs_held_fixed.find(notes, ()) if f.id == "timing.attempts")
        # Nobody played attempts 3 and 4 on one build: what lies between them is the build's.
        assert learning.tables["attempts"]["attempt"].tolist() in ([1, 2, 3], [4, 5, 6])
        told += not learning.estimate.low <= 0 <= learning.estimate.high
    assert told <= 8  # 5 % of 60 and three standard errors


def runs_of_two_builds(rng, players=12):
    """Deaths and minutes of three attempts on each of two builds: the later one is half as dangerous, nobody learns."""
    player, attempt = (a.ravel() for a in np.indices((players, 6)))
    rate = np.exp(rng.normal(0, 0.5, players))[player] * np.where(attempt >= 3, 0.5, 1.0)
    minutes = rng.uniform(1, 4, player.size)
    return player, attempt + 1, np.where(attempt >= 3, "1.1", "1.0"), rng.poisson(rate * minutes), minutes


def test_an_easier_build_that_comes_later_is_no_learning():
    rng = np.random.default_rng(12)
    told = pooled = 0
    for _ in range(100):
        player, attempt, build, deaths, minutes = runs_of_two_builds(rng)
        run = {
            "run_id": np.arange(72),
            "player": player.astype(str),
            "attempt": attempt,
            "build": build,
            "deaths": deaths,
            "alive_us": minutes * 60e6,
        }
        told += "they get" in skill.learning(Basis(run, frozenset({"death"}), ())).sentence
        without = slope_on_part(deaths, minutes, np.log(attempt), player)
        pooled += without.high < 0
    assert told <= 11  # 5 % of 100 and three standard errors
    assert pooled >= 70  # the same data told otherwise: this is what would be false


class _Spells:
    """A reader that answers with lives made up beforehand."""

    def __init__(self, columns):
        self._columns = columns

    def ask_chosen(self, query, selection):
        assert query == "life_spells"
        return Columns(self._columns)


def test_the_risk_of_later_attempts_is_compared_on_one_build():
    rng = np.random.default_rng(13)
    told = 0
    for _ in range(60):
        player, attempt, _ = (a.ravel() for a in np.indices((12, 6, 3)))
        life = rng.exponential(np.where(attempt >= 3, 20.0, 8.0))
        columns = {
            "player": player.astype(str),
            "build": np.where(attempt >= 3, "1.1", "1.0"),
            "entry_s": np.zeros(216),
            "end_s": np.minimum(life, 60),
            "died": life < 60,
            "stage": np.ones(216),
            "stage_kind": np.zeros(216),
            "tier": np.zeros(216),
            "attempt": attempt + 1,
        }
        basis = Basis({"run_id": np.arange(72), "player": np.repeat(np.arange(12), 6)}, frozenset(), ())
        (found,) = risks.find(_Spells(columns), Selection(SHOOTER), basis)
        told += not found.estimate.low <= 1 <= found.estimate.high
    assert told <= 8  # 5 % of 60 and three standard errors
