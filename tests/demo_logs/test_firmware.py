"""The demo games as firmware: their headers make valid dictionaries, and a tuned header makes the next build."""

import subprocess

import pytest

from demo_logs.simulator.lantern import GAMES
from demo_logs.simulator.native import GAMES as SOURCES
from demo_logs.simulator.native import RECORDER, Board, build, compiler
from ingest.study.store import import_log, open_study
from ingest.vocabulary import EventRole, TunableRole
from tests.needs import need

STRICT = ["-std=c99", "-Wall", "-Wextra", "-Wconversion", "-Wshadow", "-Werror", "-fsyntax-only"]
# What the findings about each kind of game need.
ROLES = {
    "soot_wardens": {
        "run_start",
        "run_end",
        "stage_start",
        "stage_end",
        "spawn",
        "death",
        "pickup",
        "shot",
        "enemy_shot",
        "hit",
        "position",
        "input",
        "slow_frame",
        "flash",
        "pause",
        "resume",
        "rating",
    },
    "tin_drizzle": {"run_start", "run_end", "stage_start", "stage_end", "note", "press", "verdict", "input", "rating"},
    "crate_loft": {"run_start", "run_end", "piece", "landed", "rows", "level", "death", "rating"},
    "one_puff": {"run_start", "run_end", "trial", "rating"},
}
LEVERS = {
    "soot_wardens": {"start_lives", "lives_refill", "fire_period", "aimed_share", "pickup_rate", "tiers_survive"},
    "tin_drizzle": {"window_early", "window_late", "input_offset", "poll_period", "note_speed"},
    "crate_loft": {"drop_interval"},
    "one_puff": {"target_speed"},
}


@pytest.fixture(autouse=True)
def _compiler():
    need(compiler(), "no C compiler is installed")


@pytest.mark.parametrize("game", sorted(GAMES))
def test_a_game_says_all_that_the_findings_need(game, tmp_path):
    firmware = build(game, None, tmp_path)
    assert firmware.dictionary.game == GAMES[game].title
    assert firmware.dictionary.clock_hz == GAMES[game].clock_hz
    assert {k.role for k in firmware.dictionary.kinds} >= {EventRole(role) for role in ROLES[game]}
    assert {t.role for t in firmware.dictionary.tunables if t.role} == {TunableRole(r) for r in LEVERS[game]}
    for tunable in firmware.dictionary.tunables:
        value = firmware.values[tunable.name]
        assert tunable.low <= value <= tunable.high and (value - tunable.low) % tunable.step == 0, tunable.name


@pytest.mark.parametrize("game", sorted(GAMES))
def test_a_game_compiles_without_a_warning(game):
    words = [compiler(), *STRICT, f"-DGAME_HEADER=<{game}.h>", f"-I{RECORDER}", f"-I{SOURCES}"]
    done = subprocess.run(
        [*words, f"-I{SOURCES / 'untuned'}", str(SOURCES / "console.c")], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


def test_a_tuned_header_makes_the_build_that_the_next_log_shows(tmp_path):
    tuned = tmp_path / "tuned"
    tuned.mkdir()
    (tuned / "one_puff_tuned.h").write_text("#define TUNED_CANDLE_SPEED 65\n", encoding="utf-8")
    firmware = build("one_puff", tuned, tmp_path)
    assert firmware.values == {"candle_speed": 65, "speed_gain": 6, "wick_width": 6}
    events = [(100, "run_begin", {"player": 3, "team": 0, "first_time": 1, "seed": 7})]
    log = tmp_path / "next.playlog"
    log.write_bytes(firmware.run([*firmware.lines(events), "t 3000000\n"], Board(), 5))
    with open_study(tmp_path / "study.duckdb") as study:
        import_log(study, log)
        told = study.connection.execute("SELECT tunable, value FROM tunables ORDER BY number").fetchall()
    assert told == list(firmware.values.items())


def test_a_value_outside_its_range_is_a_compile_error(tmp_path):
    tuned = tmp_path / "tuned"
    tuned.mkdir()
    (tuned / "one_puff_tuned.h").write_text("#define TUNED_CANDLE_SPEED 4000\n", encoding="utf-8")
    with pytest.raises(RuntimeError, match="value_of_candle_speed_is_between_min_and_max"):
        build("one_puff", tuned, tmp_path)


def test_the_line_carries_no_more_than_its_baud_rate(tmp_path):
    """10 bits a byte: 115,200 baud are 11,520 bytes a second; a burst waits in the ring, and what finds no room is
    dropped and counted."""
    firmware = build("soot_wardens", None, tmp_path)
    burst = [(1000, "where", {"x": 1, "y": 2})] * 2000
    commands = [*firmware.lines(burst)]
    quick = firmware.run([*commands, "t 1000\n"], Board(ring=1024), 1)
    # In the first second nothing but the dictionary was sent; the burst itself came at one instant.
    assert len(quick) < len(firmware.dictionary.text) * 1.3 + 200
    slow = firmware.run([*commands, "t 3000\n"], Board(ring=1024, baud=1200), 1)
    assert len(slow) <= 3 * 120 + 1
    whole = firmware.run([*commands, "t 60000\n"], Board(ring=32768), 1)
    assert len(whole) > 2000 * 3
