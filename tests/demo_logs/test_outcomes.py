"""The population's own figures, and the next playtest with tuned values."""

import re
from pathlib import Path

import pytest

import demo_logs
from demo_logs.simulator.native import GAMES as SOURCES
from demo_logs.simulator.native import build, compiler
from demo_logs.simulator.next_playtest import next_log
from demo_logs.simulator.outcomes import figures, new_players
from ingest.study.store import import_log, open_study
from tests.needs import need

README = (Path(demo_logs.__file__).parent / "README.md").read_text(encoding="utf-8")


@pytest.fixture(autouse=True)
def _compiler():
    need(compiler(), "no C compiler is installed")


def test_the_readme_tells_what_the_simulator_gives(tmp_path):
    for name, tuned in (("a", None), ("b", SOURCES / "build_b")):
        values = build("one_puff", tuned, tmp_path).values
        share = figures("one_puff", new_players("one_puff", values, 400, 1))["streak 8"]
        [printed] = re.findall(rf"\| One Puff {name} \| streak of 8: (\d+) % \|", README)
        assert round(100 * share) == int(printed)


def test_the_crates_fall_harder_the_faster_they_fall():
    """Halving every drop interval must cost levels, whoever plays."""
    slow = {f"drop_interval_{level}": 600 for level in range(1, 9)}
    fast = {name: 150 for name in slow}
    levels = [figures("crate_loft", new_players("crate_loft", v, 25, 1))["level_reached 6"] for v in (slow, fast)]
    assert levels[0] > levels[1] + 0.3


def test_a_next_playtest_shows_new_people_on_the_tuned_build(tmp_path):
    tuned = tmp_path / "tuned"
    tuned.mkdir()
    (tuned / "one_puff_tuned.h").write_text("#define TUNED_CANDLE_SPEED 65\n", encoding="utf-8")
    logs = [next_log("one_puff", tuned, 5, 2, round_, tmp_path) for round_ in (0, 1)]
    with open_study(tmp_path / "study.duckdb") as study:
        for number, data in enumerate(logs):
            (tmp_path / f"{number}.playlog").write_bytes(data)
            import_log(study, tmp_path / f"{number}.playlog")
        players = study.connection.execute("SELECT DISTINCT player FROM runs ORDER BY 1").fetchall()
        builds = study.connection.execute("SELECT count(*) FROM builds").fetchone()
    assert [player for (player,) in players] == [f"P{n}" for n in range(31, 41)]
    assert builds == (1,)
