"""Roles corrected after the playtest: kept as notes, followed by tables, views and runs, undone like other notes."""

from pathlib import Path

import pytest

from ingest.said.forgetting import forget_capture
from ingest.said.notes import note_role, take_back
from ingest.said.rereading import behind, read_again
from ingest.said.roles import BadRole, games, listed
from ingest.study.store import Status, Study, import_log, open_study
from tests.ingest.studies import dictionary, event, imported, rows

TUNABLES = [
    {"name": "fall_ms", "role": "drop_interval", "value": 300, "unit": "ms"},
    {"name": "lives", "role": "start_lives", "value": 3},
]
KINDS = {
    "begin": ("run_start", {"who": "u8 player"}),
    "over": ("run_end", {"how": "u8 ending"}),
    # The deaths were not given their role, and the hits were given theirs.
    "ow": (None, {"across": "u8 y", "down": "u8 x", "why": "u8", "before": "u16"}),
    "bump": ("death", {}),
    "shoot": ("enemy_shot", {"at": "u8 x", "flag": "u8"}),
}


def log(**more: object) -> list[dict[str, object]]:
    """A run with two of `ow` and three of `bump`."""
    lines = [dictionary(KINDS, tunables=TUNABLES, **more), event(1000, "begin", who=3)]
    for n in range(3):
        lines.append(event(2000 + 1000 * n, "bump"))
        lines.append(event(2100 + 1000 * n, "shoot", at=10 * n, flag=1))
        if n:
            lines.append(event(2200 + 1000 * n, "ow", across=60, down=100 + n, why=2, before=100))
    return [*lines, event(6000, "over", how=2)]


def deaths(study: Study) -> list[tuple[int, ...]]:
    return rows(study, "SELECT end_us // 1000, x, y, cause FROM lives WHERE died ORDER BY number")


def note(study: Study, what: str, name: str, role: str | None):  # type: ignore[no-untyped-def]
    return note_role(study.connection, "Moth Run", what, name, role)


def test_tables_and_views_follow_at_once_and_runs_when_the_log_is_read_again(study: Study, tmp_path: Path) -> None:
    path = tmp_path / "a.playlog"
    imported(study, path, log())
    told = [(2000, None, None, None), (3000, None, None, None), (4000, None, None, None)]
    assert deaths(study) == told and not behind(study)
    run = rows(study, "SELECT run_id, start_byte FROM all_runs")
    note(study, "kind", "ow", "death")
    note(study, "kind", "bump", "-")
    note(study, "field", "ow.why", "cause")
    assert rows(study, "SELECT at_us // 1000, x, y, cause FROM death_events ORDER BY 1") == [
        (3200, 101, 60, 2),
        (4200, 102, 60, 2),
    ]
    assert rows(study, "SELECT kind, role FROM kinds WHERE kind IN ('ow', 'bump') ORDER BY 1") == [
        ("bump", None),
        ("ow", "death"),
    ]
    # What runs are built from is in the log alone.
    assert deaths(study) == told and list(behind(study).values()) == ["a.playlog"]
    assert import_log(study, path).status != Status.UNCHANGED
    assert deaths(study) == [(3200, 101, 60, 2), (4200, 102, 60, 2)] and not behind(study)
    assert rows(study, "SELECT run_id, start_byte FROM all_runs") == run
    assert import_log(study, path).status == Status.UNCHANGED
    assert rows(study, "SELECT count(*) FROM captures") == [(1,)]


def test_what_no_run_is_built_from_needs_no_log(study: Study, tmp_path: Path) -> None:
    imported(study, tmp_path / "a.playlog", log())
    note(study, "tunable", "fall_ms", "fire_period")
    note(study, "field", "shoot.flag", "aimed")
    assert rows(study, "SELECT role FROM tunables WHERE tunable = 'fall_ms'") == [("fire_period",)]
    assert rows(study, "SELECT sum(aimed) FROM enemy_shot_events") == [(3,)]
    assert not behind(study)
    note(study, "kind", "shoot", None)
    assert rows(study, "SELECT count(*) FROM enemy_shot_events") == [(0,)] and not behind(study)


def test_what_counts_as_read_by_the_runs(study: Study, tmp_path: Path) -> None:
    """Each of these changes runs, times, places, or which values are numbers."""
    for n, (what, name, role) in enumerate(
        (
            ("kind", "shoot", "position"),
            ("kind", "shoot", "shot"),
            ("kind", "shoot", "input"),
            ("field", "shoot.flag", "tier"),
            ("field", "shoot.flag", "ago"),
            ("field", "begin.who", "-"),
            ("tunable", "lives", "-"),
        )
    ):
        imported(study, tmp_path / f"{n}.playlog", log(firmware=f"1.{n}"))
        moment = note(study, what, name, role)
        assert behind(study), (what, name)
        take_back(study.connection, "role_notes", moment)
        assert not behind(study), (what, name)


def test_undone_what_the_log_said_holds_again(study: Study, tmp_path: Path) -> None:
    path = tmp_path / "a.playlog"
    imported(study, path, log())
    tables = ("kinds", "fields", "tunables", "lives", "death_events", "enemy_shot_events", "builds")
    before = {table: rows(study, f"SELECT * FROM {table} ORDER BY ALL") for table in tables}
    moments = [
        note(study, "kind", "ow", "death"),
        note(study, "kind", "bump", None),
        note(study, "tunable", "fall_ms", None),
        note(study, "tunable", "fall_ms", "fire_period"),
    ]
    import_log(study, path)
    assert rows(study, "SELECT * FROM lives ORDER BY ALL") != before["lives"]
    take_back(study.connection, "role_notes", moments.pop())
    assert rows(study, "SELECT role FROM tunables WHERE tunable = 'fall_ms'") == [(None,)]
    for moment in reversed(moments):
        take_back(study.connection, "role_notes", moment)
    import_log(study, path)
    assert {table: rows(study, f"SELECT * FROM {table} ORDER BY ALL") for table in tables} == before


def test_later_logs_and_a_study_made_again_follow_too(study: Study, tmp_path: Path) -> None:
    """Whether a correction was noted before or after its log came makes no difference."""
    path, later = tmp_path / "a.playlog", tmp_path / "b.playlog"
    imported(study, path, log())
    note(study, "kind", "ow", "death")
    note(study, "kind", "bump", None)
    note(study, "tunable", "fall_ms", "fire_period")
    import_log(study, path)
    # Another firmware of the game, and another game, which the notes do not speak of.
    imported(study, later, log(firmware="1.1"))
    imported(study, tmp_path / "c.playlog", log(game="Newt"))
    counts = "SELECT game, firmware, deaths FROM all_runs JOIN builds USING (build_id) ORDER BY ALL"
    assert rows(study, counts) == [("Moth Run", "1.0", 2), ("Moth Run", "1.1", 2), ("Newt", "1.0", 3)]
    asked = "SELECT count(*) FROM death_events WHERE kind = 'ow'"
    assert rows(study, asked) == [(4,)]
    runs = rows(study, "SELECT * EXCLUDE (place) FROM all_runs JOIN builds USING (build_id) ORDER BY run_id")
    assert not behind(study)
    # The same log taken out and brought in, and all of it in a new study with the same notes.
    forget_capture(study, rows(study, "SELECT capture_id FROM captures WHERE name = 'a.playlog'")[0][0])
    import_log(study, path)
    assert rows(study, counts)[0] == ("Moth Run", "1.0", 2) and not behind(study)
    notes = rows(study, "SELECT * FROM role_notes")
    with open_study(tmp_path / "again.duckdb") as again:
        for row in notes:
            again.connection.execute("INSERT INTO role_notes VALUES (?, ?, ?, ?, ?)", list(row))
        for name in ("a", "b", "c"):
            import_log(again, tmp_path / f"{name}.playlog")
        made = rows(again, "SELECT * EXCLUDE (place) FROM all_runs JOIN builds USING (build_id) ORDER BY run_id")
        columns = [d[0] for d in again.connection.execute("DESCRIBE all_runs").fetchall()]
        own = [columns.index("run_id"), columns.index("build_id"), columns.index("deaths")]
        assert [[row[n] for n in own] for row in made] == [[row[n] for n in own] for row in runs]


def test_two_fields_change_their_roles(study: Study, tmp_path: Path) -> None:
    """x and y were mixed up: one has to give its role up first."""
    imported(study, tmp_path / "a.playlog", log())
    note(study, "kind", "ow", "death")
    with pytest.raises(BadRole, match="another field of this kind has it"):
        note(study, "field", "ow.across", "x")
    note(study, "field", "ow.down", None)
    note(study, "field", "ow.across", "x")
    note(study, "field", "ow.down", "y")
    import_log(study, tmp_path / "a.playlog")
    assert [where[1:3] for where in deaths(study)][-1] == (60, 102)


def test_two_tunables_never_have_one_role_for_one_part_of_the_game(study: Study, tmp_path: Path) -> None:
    """One has to give its role up first; where the scope is another one, both may have it."""
    scoped = {"role": "fire_period", "value": 20, "scope": {"stage": 2, "stage_kind": 1}}
    tunables = [*TUNABLES, {"name": "fire_all", "value": 9}, {"name": "fire_boss", **scoped}]
    imported(study, tmp_path / "a.playlog", [dictionary(KINDS, tunables=tunables), *log()[1:]])
    with pytest.raises(BadRole, match="'lives' has it"):
        note(study, "tunable", "fall_ms", "start_lives")
    assert rows(study, "SELECT count(*) FROM role_notes") == [(0,)]
    note(study, "tunable", "fire_all", "fire_period")  # everywhere, beside that of one boss
    note(study, "tunable", "lives", None)
    assert behind(study)
    note(study, "tunable", "fall_ms", "start_lives")
    with pytest.raises(BadRole, match="'fall_ms' has it"):
        note(study, "tunable", "lives", "start_lives")
    held = {one.name: one.role for one in listed(study.connection.cursor(), "Moth Run") if one.what == "tunable"}
    assert held == {"fall_ms": "start_lives", "lives": None, "fire_all": "fire_period", "fire_boss": "fire_period"}


def test_a_role_that_another_tunable_of_a_later_log_has_is_passed_over(study: Study, tmp_path: Path) -> None:
    imported(study, tmp_path / "a.playlog", log())
    note(study, "tunable", "fall_ms", "fire_period")
    tunables = [*TUNABLES, {"name": "shots", "role": "fire_period", "value": 20}]
    imported(study, tmp_path / "b.playlog", [dictionary(KINDS, tunables=tunables, firmware="2.0"), *log()[1:]])
    asked = "SELECT t.tunable, t.role FROM tunables t JOIN builds USING (build_id) WHERE firmware = '2.0' ORDER BY ALL"
    assert rows(study, asked) == [("fall_ms", "drop_interval"), ("lives", "start_lives"), ("shots", "fire_period")]


def test_a_correction_that_does_not_fit_a_later_log_costs_nothing(study: Study, tmp_path: Path) -> None:
    """The next firmware gives the role to another field by itself."""
    imported(study, tmp_path / "a.playlog", log())
    note(study, "field", "ow.why", "cause")
    kinds = KINDS | {"ow": ("death", {"y": "u8 y", "x": "u8 x", "why": "u8", "of": "u8 cause"})}
    lines = [dictionary(kinds, firmware="2.0"), event(1000, "begin", who=1), event(2000, "ow", why=1, of=7)]
    imported(study, tmp_path / "b.playlog", lines)
    assert rows(study, "SELECT cause FROM death_events WHERE kind = 'ow'") == [(7,)]
    assert {one.name: one.role for one in listed(study.connection.cursor(), "Moth Run")}["ow.why"] is None


@pytest.mark.parametrize(
    ("what", "name", "role", "told"),
    [
        ("kind", "fell", "death", "begin, over, ow, bump, shoot"),
        ("field", "why", "cause", "ow.why"),
        ("tunable", "speed", "fire_period", "fall_ms, lives"),
        ("kind", "ow", "dies", "run_start"),
        ("tunable", "lives", "death", "start_lives"),
        ("event", "ow", "death", "kind, field, tunable"),
    ],
)
def test_wrong_names_are_told_with_what_there_is(
    study: Study, tmp_path: Path, what: str, name: str, role: str, told: str
) -> None:
    imported(study, tmp_path / "a.playlog", log())
    with pytest.raises(BadRole) as error:
        note(study, what, name, role)
    assert told in str(error.value)
    with pytest.raises(BadRole, match="Moth Run"):
        note_role(study.connection, "Moth", what, name, role)
    assert rows(study, "SELECT count(*) FROM role_notes") == [(0,)]
    assert games(study.connection.cursor()) == ["Moth Run"]


def test_logs_at_hand_are_found_by_their_bytes(study: Study, tmp_path: Path) -> None:
    night = tmp_path / "night"
    night.mkdir()
    imported(study, night / "a.playlog", log())
    imported(study, tmp_path / "b.playlog", log(firmware="1.1"))
    (tmp_path / "b.playlog").unlink()
    # Of the same name, and of another evening: not of this study.
    other = tmp_path / "other"
    other.mkdir()
    imported(study, other / "x.playlog", log(firmware="3"))
    (other / "x.playlog").rename(other / "b.playlog")
    note(study, "kind", "ow", "death")
    done = read_again(study, [tmp_path], lambda path: import_log(study, path))
    assert done.read == ("a.playlog",) and set(done.missing) == {"b.playlog", "x.playlog"}
    assert "b.playlog" in done.words()
    done = read_again(study, [other / "b.playlog"], lambda path: import_log(study, path))
    assert done.read == ("x.playlog",) and done.missing == ("b.playlog",)
    assert rows(study, "SELECT count(*) FROM captures") == [(3,)]
