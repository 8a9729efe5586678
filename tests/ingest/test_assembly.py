"""Runs, stages, lives and spells: small plays whose answers were worked out by hand from FORMAT.md, section 7.

The clock ticks a thousand times a second, so that t is in milliseconds and the study's times are 1000 * t.
"""

import random
from pathlib import Path

import pytest

from ingest.capture import log_file
from ingest.study.store import Study, import_log, open_study
from tests.ingest.logs import Play, damage, evil
from tests.ingest.studies import Line, dictionary, event, imported, log_of, own, rows

SHOOTER = {
    "begin": ("run_start", {"who": "u8 player", "own": "u8 team", "first": "u8 first_time", "seed": "u16 seed"}),
    "over": ("run_end", {"how": "u8 ending", "points": "u16 score"}),
    "enter": ("stage_start", {"n": "u8 stage", "boss": "u8 stage_kind"}),
    "leave": ("stage_end", {"ok": "u8 cleared"}),
    "born": ("spawn", {"lives": "u8 lives"}),
    "fell": ("death", {"x": "u8 x", "why": "u8 cause", "lives": "u8 lives", "tier": "u8 tier", "shot": "u16 shot_ago"}),
    "took": ("pickup", {"tier": "u8 tier"}),
    "wait": ("pause", {}),
    "go": ("resume", {}),
    "stars": ("rating", {"value": "u8 value"}),
    "at": ("position", {"x": "u8 x"}),
    "hurt": (None, {"by": "u8"}),
}
LIVES = {
    "tunables": [
        {"name": "lives", "role": "start_lives", "value": 3},
        {"name": "fire", "value": 500, "min": 1, "max": 999},
    ]
}


def play(
    study: Study, tmp_path: Path, *events: Line, kinds: dict[str, tuple[str | None, dict[str, str]]] = SHOOTER
) -> None:
    imported(study, tmp_path / "a.playlog", [dictionary(kinds, **LIVES), *events])


def test_a_whole_run(study: Study, tmp_path: Path) -> None:
    play(
        study,
        tmp_path,
        event(1000, "begin", who=3, own=0, first=1, seed=77),
        event(1000, "enter", n=1, boss=0),
        event(2000, "took", tier=1),
        event(5000, "fell", x=80, why=1, lives=2, tier=0, shot=250),
        event(6000, "born", lives=2),
        event(7000, "wait"),
        event(9000, "go"),
        event(10_000, "leave", ok=1),
        event(11_000, "enter", n=1, boss=1),
        event(13_000, "fell", x=10, why=2, lives=1, tier=0, shot=0),
        event(14_000, "over", how=2, points=900),
        event(15_000, "stars", value=60),
    )
    # Alive: 4 s to the first death, then 1 s, (2 s pause), 1 s, 1 s between stages, 2 s of the boss.
    assert rows(
        study,
        "SELECT start_us, end_us, alive_us, ending, deaths, score, rating, team, first_time, seed, "
        "player, attempt, damaged, mixed_build FROM runs",
    ) == [(1_000_000, 14_000_000, 9_000_000, "quit", 2, 900, 60, False, True, 77, "P03", 1, False, False)]
    assert rows(
        study,
        "SELECT visit, stage, stage_kind, start_us, end_us, alive_us, cleared, deaths, lives_in, "
        "tier_in FROM stages ORDER BY visit",
    ) == [
        (1, 1, 0, 1_000_000, 10_000_000, 6_000_000, True, 1, 3, 0),
        (2, 1, 1, 11_000_000, 14_000_000, 2_000_000, None, 1, 2, 0),
    ]
    assert rows(
        study,
        f"SELECT number, {own('stage_id')}, start_us, end_us, alive_us, died, cause, x, lives_left, "
        "tier, shot_ago_us FROM lives ORDER BY number",
    ) == [
        (1, 1, 1_000_000, 5_000_000, 4_000_000, True, 1, 80, 2, 1, 250_000),
        (2, 2, 6_000_000, 13_000_000, 5_000_000, True, 2, 10, 1, 0, 0),
    ]
    assert rows(
        study,
        f"SELECT {own('stage_id')}, life, tier, start_us, end_us, alive_us, ended_by FROM spells ORDER BY start_us",
    ) == [
        (1, 1, 0, 1_000_000, 2_000_000, 1_000_000, "change"),
        (1, 1, 1, 2_000_000, 5_000_000, 3_000_000, "death"),
        (1, 2, 0, 6_000_000, 10_000_000, 2_000_000, "stage_end"),
        (None, 2, 0, 10_000_000, 11_000_000, 1_000_000, "change"),
        (2, 2, 0, 11_000_000, 13_000_000, 2_000_000, "death"),
    ]


def test_a_change_logged_just_before_the_death_does_not_hide_it(study: Study, tmp_path: Path) -> None:
    """A game that takes the tier and then logs the death, both in one tick: the death was one at the old tier."""
    play(
        study,
        tmp_path,
        event(1000, "begin", who=3),
        event(1000, "enter", n=1),
        event(2000, "took", tier=2),
        event(5000, "took", tier=0),
        event(5000, "fell", lives=2),
        event(6000, "born", lives=2),
        event(8000, "leave", ok=1),
        event(8000, "fell", lives=1),
        event(8000, "over", how=2),
    )
    assert rows(
        study,
        f"SELECT {own('stage_id')}, life, tier, start_us, end_us, alive_us, ended_by FROM spells ORDER BY start_us",
    ) == [
        (1, 1, 0, 1_000_000, 2_000_000, 1_000_000, "change"),
        (1, 1, 2, 2_000_000, 5_000_000, 3_000_000, "death"),
        (1, 2, 0, 6_000_000, 8_000_000, 2_000_000, "stage_end"),
        (None, 2, 0, 8_000_000, 8_000_000, 0, "death"),
    ]


def test_without_spawn_a_life_begins_at_the_death(study: Study, tmp_path: Path) -> None:
    kinds = {name: kind for name, kind in SHOOTER.items() if name != "born"} | {"fell": ("death", {"x": "u8 x"})}
    play(
        study,
        tmp_path,
        event(1000, "begin", who=1),
        event(3000, "fell", x=1),
        event(4000, "fell", x=2),
        event(6000, "fell", x=3),
        event(9000, "over", how=1),
        kinds=kinds,
    )
    # start_lives is 3: after the third death nobody plays on.
    assert rows(study, "SELECT number, start_us, end_us, died, lives_left FROM lives ORDER BY number") == [
        (1, 1_000_000, 3_000_000, True, 2),
        (2, 3_000_000, 4_000_000, True, 1),
        (3, 4_000_000, 6_000_000, True, 0),
    ]
    assert rows(study, "SELECT alive_us, ending FROM runs") == [(5_000_000, "game_over")]


def test_without_lives_the_last_death_ends_the_time_alive(study: Study, tmp_path: Path) -> None:
    """A falling-block game: nothing is said about lives, so only the game over tells that the death was the last."""
    kinds = {"begin": ("run_start", {}), "top": ("death", {"x": "u8 x"}), "over": ("run_end", {"how": "u8 ending"})}
    imported(
        study,
        tmp_path / "a.playlog",
        [
            dictionary(kinds),
            event(1000, "begin"),
            event(8000, "top", x=4),
            event(11_000, "over", how=1),
            event(20_000, "begin"),
            event(23_000, "top", x=4),
            event(24_000, "over", how=0),
        ],
    )
    assert rows(study, "SELECT alive_us, ending, deaths FROM runs ORDER BY number") == [
        (7_000_000, "game_over", 1),
        (4_000_000, "finished", 1),
    ]
    assert rows(study, f"SELECT {own('run_id')}, stage, stage_kind, alive_us, cleared FROM stages ORDER BY run_id") == [
        (1, 1, 0, 7_000_000, False),
        (2, 1, 0, 4_000_000, True),
    ]
    assert rows(study, f"SELECT {own('run_id')}, number, died FROM lives ORDER BY 1, 2") == [
        (1, 1, True),
        (2, 1, True),
        (2, 2, False),
    ]


def test_three_ways_to_be_cut(study: Study, tmp_path: Path) -> None:
    play(
        study,
        tmp_path,
        event(1000, "begin", who=1),
        event(2000, "at", x=5),
        event(9000, "begin", who=1),
        event(9500, "at", x=5),
        {"power_up": 5},
        event(100, "begin", who=1),
        event(400, "at", x=1),
    )
    assert rows(study, f"SELECT number, {own('power_up_id')}, start_us, end_us, ending FROM runs ORDER BY number") == [
        (1, 1, 1_000_000, 2_000_000, "cut"),
        (2, 1, 9_000_000, 9_500_000, "cut"),
        (3, 2, 100_000, 400_000, "cut"),
    ]
    assert [row[0] for row in rows(study, "SELECT ended_by FROM spells")] == ["cut"] * 3


def test_events_know_their_run_and_stage(study: Study, tmp_path: Path) -> None:
    play(
        study,
        tmp_path,
        event(100, "at", x=1),
        event(1000, "begin", who=1),
        event(1100, "at", x=2),
        event(1200, "enter", n=1),
        event(1300, "at", x=3),
        event(1400, "leave", ok=1),
        event(1500, "at", x=4),
        event(1600, "over"),
        event(1700, "at", x=5),
        event(1800, "hurt", by=9),
    )
    assert rows(
        study,
        f"SELECT x, {own('run_id')}, {own('stage_id')}, at_us, kind, dictionary_id, y FROM position_events ORDER BY x",
    ) == [
        (1, None, None, 100_000, "at", 1, None),
        (2, 1, None, 1_100_000, "at", 1, None),
        (3, 1, 1, 1_300_000, "at", 1, None),
        (4, 1, None, 1_500_000, "at", 1, None),
        (5, None, None, 1_700_000, "at", 1, None),
    ]
    for role, place in (("stage_start", (1, 1)), ("stage_end", (1, 1)), ("run_end", (1, None))):
        assert rows(study, f"SELECT {own('run_id')}, {own('stage_id')} FROM {role}_events") == [place]
    ((table,),) = rows(study, "SELECT table_name FROM kinds WHERE kind = 'hurt'")
    assert rows(study, f'SELECT _run, _at_us, "by" FROM {table}') == [(None, 1_800_000, 9)]


def test_ago_and_ahead_move_events_in_time(study: Study, tmp_path: Path) -> None:
    kinds = {
        "begin": ("run_start", {}),
        "due": ("note", {"lane": "u8 lane", "in_": "u16 ahead"}),
        "key": ("press", {"lane": "u8 lane", "late": "u16 ago"}),
        "fell": ("death", {"late": "u16 ago"}),
    }
    imported(
        study,
        tmp_path / "a.playlog",
        [
            dictionary(kinds),
            event(1000, "begin"),
            event(1000, "due", lane=2, in_=1500),
            event(2450, "key", lane=2, late=30),
            event(3000, "fell", late=200),
        ],
    )
    assert rows(study, "SELECT at_us, lane, ahead FROM note_events") == [(2_500_000, 2, 1500)]
    assert rows(study, "SELECT at_us, ago FROM press_events") == [(2_420_000, 30)]
    assert rows(study, "SELECT end_us FROM lives WHERE died") == [(2_800_000,)]


def test_stages_without_an_end_are_judged_by_what_follows(study: Study, tmp_path: Path) -> None:
    kinds = {name: kind for name, kind in SHOOTER.items() if name != "leave"}
    play(
        study,
        tmp_path,
        event(1000, "begin", who=1),
        event(1000, "enter", n=1),
        event(2000, "enter", n=1),
        event(3000, "enter", n=2),
        event(4000, "over", how=0),
        event(5000, "begin", who=1),
        event(5000, "enter", n=1),
        event(6000, "over", how=1),
        kinds=kinds,
    )
    # Stage 1 was begun again, then left for stage 2, whose run finished; the second run was lost in stage 1.
    assert rows(study, "SELECT stage, cleared FROM stages ORDER BY stage_id") == [
        (1, False),
        (1, True),
        (2, True),
        (1, False),
    ]


def test_a_lost_stage_end_is_not_guessed(study: Study, tmp_path: Path) -> None:
    play(study, tmp_path, event(1000, "begin"), event(1000, "enter", n=1), event(3000, "enter", n=2), event(4000, "at"))
    assert rows(study, "SELECT stage, cleared FROM stages ORDER BY stage_id") == [(1, None), (2, None)]


def test_songs_are_stages_with_a_song(study: Study, tmp_path: Path) -> None:
    kinds = {"begin": ("run_start", {}), "play": ("stage_start", {"song": "u8 song"}), "end": ("stage_end", {})}
    imported(
        study,
        tmp_path / "a.playlog",
        [
            dictionary(kinds),
            event(1, "begin"),
            event(2, "play", song=4),
            event(3, "end"),
            event(4, "play", song=7),
            event(5, "end"),
        ],
    )
    assert rows(study, "SELECT stage, song, cleared FROM stages ORDER BY visit") == [(1, 4, True), (1, 7, True)]


def test_the_build_is_that_of_the_start(study: Study, tmp_path: Path) -> None:
    play(
        study,
        tmp_path,
        event(1000, "begin"),
        {"settings": {"fire": 400}},
        event(2000, "over"),
        event(3000, "begin"),
        event(4000, "over"),
        {"settings": {"fire": 500}},
        event(5000, "begin"),
        event(6000, "over"),
    )
    assert rows(study, "SELECT build, mixed_build FROM runs ORDER BY number") == [
        ("1.0", True),
        ("1.0 b", False),
        ("1.0", False),
    ]
    assert rows(
        study, "SELECT b.label, t.tunable, t.value FROM builds b JOIN tunables t USING (build_id) ORDER BY 1, 2"
    ) == [("1.0", "fire", 500), ("1.0", "lives", 3), ("1.0 b", "fire", 400), ("1.0 b", "lives", 3)]


def test_a_capture_that_begins_in_the_middle(study: Study, tmp_path: Path) -> None:
    """Its first settings come seconds after the run they belong to; the dictionary goes round and comes again."""
    lines = [dictionary(SHOOTER, **LIVES), event(500, "begin", who=1)]
    lines += [event(1000 + 100 * i, "at", x=i) for i in range(200)]
    whole = log_of(lines)
    # From behind the first event packet on: its second byte, the first of the packet, is its type.
    frames = whole.split(b"\0")
    first = next(i for i, frame in enumerate(frames) if frame[1:2] == b"\x14")
    start = len(b"\0".join(frames[: first + 1])) + 1
    result = imported(study, tmp_path / "a.playlog", whole[start:])
    assert result.events > 150 and result.unread_bytes == 0 and result.runs == 0
    later = log_of([*lines, event(30_000, "begin", who=2), event(31_000, "over")])
    result = imported(study, tmp_path / "b.playlog", later[start:])
    assert result.runs == 1
    assert rows(study, "SELECT build, player, lives_left FROM runs JOIN lives USING (run_id)") == [("1.0", "P02", 3)]


@pytest.mark.parametrize(
    ("gone", "damaged"),
    [("between", [False, False]), ("first", [True, False]), ("second", [False, True]), ("end", [True, False])],
)
def test_damage_marks_the_runs_it_touches(study: Study, tmp_path: Path, gone: str, damaged: list[bool]) -> None:
    drop: Line = {"drop": 3}
    lines = [dictionary(SHOOTER, **LIVES), event(1000, "begin")]
    lines += ([drop] if gone == "first" else []) + [event(1500, "at"), event(2000, "over")]
    if gone == "end":
        # The end of the first run is lost: it is cut, and what was lost may have been its last deaths.
        lines = [*lines[:-1], drop]
    lines += [drop] if gone == "between" else []
    lines += [event(3000, "begin")] + ([drop] if gone == "second" else []) + [event(3500, "at"), event(4000, "over")]
    imported(study, tmp_path / "a.playlog", lines)
    assert [row[0] for row in rows(study, "SELECT damaged FROM runs ORDER BY number")] == damaged


def test_a_rejected_packet_marks_the_run_around_it(study: Study, tmp_path: Path) -> None:
    lines = [dictionary(SHOOTER, **LIVES)]
    for start in (1000, 5000, 9000):
        lines += [event(start, "begin"), event(start + 800, "at"), event(start + 1600, "over")]
    log = bytearray(log_of(lines))
    # The third packet from the end of the second run: find it by counting frames from the back.
    zeros = [i for i, byte in enumerate(log) if byte == 0]
    log[zeros[-5] - 3] ^= 0x10
    result = imported(study, tmp_path / "a.playlog", bytes(log))
    assert (result.rejected_packets, result.missing_packets) == (1, 1)
    assert [row[0] for row in rows(study, "SELECT damaged FROM runs ORDER BY number")].count(True) == 1


def test_same_runs_for_every_way_of_cutting(study: Study, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The store reads in pieces of any size and gets the same study."""
    tables = ("all_runs", "stages", "lives", "spells", "power_ups", "damage", "builds", "tunables")
    for seed in range(6):
        dice = random.Random(seed)
        log = [Play(seed, runs=6).log(), damage(Play(seed, runs=6).log(), dice, 8), evil(dice, 150)][seed % 3]
        path = tmp_path / f"{seed}.playlog"
        path.write_bytes(log)
        answers = []
        for chunk in (700_000, 1000, 37):
            monkeypatch.setattr(log_file, "CHUNK_BYTES", chunk)
            with open_study(tmp_path / f"{seed}_{chunk}.duckdb") as other:
                import_log(other, path)
                found = {table: rows(other, f"SELECT * FROM {table} ORDER BY ALL") for table in tables}
                kinds = rows(other, "SELECT DISTINCT table_name FROM kinds ORDER BY 1")
                found |= {table: rows(other, f"SELECT * FROM {table} ORDER BY ALL") for (table,) in kinds}
                answers.append(found)
        assert answers[0] == answers[1] == answers[2]
