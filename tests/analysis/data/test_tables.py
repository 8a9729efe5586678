"""The tables for people: declared once, true to the study and to the findings, and of the same rows in any lots."""

from pathlib import Path

import pytest

import analysis
from analysis.data import reading_tables
from analysis.data.declared_tables import TABLES, Kind, text
from analysis.data.reading_tables import numbered, parts
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.timing_data import read_timing
from ingest.study.store import open_study

GAMES = ("Tin Drizzle", "Soot Wardens")


@pytest.fixture(scope="module")
def reader(whole_demo):
    with open_study(whole_demo, read_only=True) as study:
        yield Reader(study.connection)


@pytest.fixture(scope="module")
def demo(whole_demo):
    return analysis.open(whole_demo)


def test_the_documentation_is_written_from_the_declarations():
    written = (Path(analysis.__file__).parent / "data/TABLES.md").read_text(encoding="utf-8")
    assert written == text(), "write it anew: python -m analysis.data > analysis/data/TABLES.md"


def test_every_declaration_is_whole():
    for table in TABLES.values():
        names = [column.name for column in table.columns]
        headings = [column.heading for column in table.columns]
        assert len(set(names)) == len(names) and len(set(headings)) == len(headings)
        for column in table.columns:
            assert column.meaning and (
                not column.unit or column.name.endswith(f"_{column.unit}") or column.unit == "px"
            )
            assert column.kind is not Kind.NUMBER or column.unit or column.name in ("score", "rating")


@pytest.mark.parametrize("name", list(TABLES))
def test_a_table_has_the_declared_columns_in_their_types(demo, name):
    frame = getattr(demo, name)()
    assert len(frame) > 100
    assert {column: str(dtype) for column, dtype in frame.dtypes.items()} == {
        column.name: column.kind.dtype for column in TABLES[name].columns
    }


def test_rows_are_those_of_the_study(demo):
    """Against plain questions of one's own."""
    assert len(demo.runs()) == demo.sql("SELECT count(*) AS n FROM runs")["n"][0]
    asked = demo.sql(
        "SELECT count(*) AS n, sum(l.x) AS x FROM lives l JOIN runs r USING (run_id) "
        "WHERE died AND r.valid AND NOT r.open AND NOT r.team"
    )
    deaths, lives = demo.deaths(), demo.lives()
    assert len(deaths) == asked["n"][0] and deaths["x"].sum() == asked["x"][0]
    assert lives["died"].sum() == len(deaths) - deaths["inferred"].sum()
    team = demo.sql("SELECT run_id FROM runs WHERE team")["run_id"]
    assert len(team) and not deaths["run_id"].isin(team).any()
    assert demo.deaths(makers=True)["run_id"].isin(team).sum() > 0
    alive = lives.groupby("run_id")["alive_s"].sum()
    told = demo.runs().set_index("run_id")["alive_s"]
    whole = alive.index[~alive.index.isin(deaths.loc[deaths["inferred"], "run_id"])]
    assert (alive[whole] <= told[whole] + 1e-6).all()


def test_notes_are_matched_as_the_findings_match_them(demo, reader):
    notes = demo.notes("Tin Drizzle")
    for build, own in notes.groupby("build"):
        timed = read_timing(reader, Selection("Tin Drizzle", builds=(build,)))
        same = own[own["run_id"].isin(timed.run.tolist())]
        assert len(same) == len(timed) and same["hit"].sum() == timed.hit.sum()
        assert same["pressed"].sum() == timed.pressed.sum()
        assert same["error_ms"].sum() == pytest.approx(timed.error_us[timed.pressed].sum() / 1e3)
    assert demo.notes("Soot Wardens").empty


@pytest.mark.parametrize("name", ["lives", "notes"])
def test_rows_do_not_depend_on_how_many_are_read_at_a_time(reader, monkeypatch, name):
    table = TABLES[name]
    at_once = reading_tables.whole(reader, table, GAMES)
    monkeypatch.setattr(reading_tables, "_NOTES_IN_A_PART", 300)
    monkeypatch.setattr("analysis.reader._VECTORS_IN_A_PART", 1)
    in_lots = list(parts(reader, table, GAMES))
    assert name == "lives" or (len(in_lots) > 20 and max(map(len, in_lots)) < 600)
    again = reading_tables.whole(reader, table, GAMES)
    order = ["run_id", "life"] if name == "lives" else ["run_id", "in_song_s", "song", "lane", "error_ms"]
    first, second = (one.sort_values(order, ignore_index=True) for one in (at_once, again))
    assert first.equals(second)


def test_numbers_stand_in_place_of_tags(reader, demo):
    numbers = numbered(reader)
    players = set(demo.runs()["player"])
    assert set(numbers) == players and set(numbers.values()) == {f"P{i + 1}" for i in range(len(players))}
    # The order of the numbers says nothing of the tags: by chance not even half keep their place.
    in_order = [numbers[tag] for tag in sorted(players)]
    assert sum(own == f"P{i + 1}" for i, own in enumerate(in_order)) < len(players) / 2
    for table in TABLES.values():
        personal = {column.name for column in table.columns if column.personal}
        for part in parts(reader, table, GAMES, tags=False):
            assert not personal & set(part) and set(part["player"]) <= set(numbers.values())
    tagged, told = (
        reading_tables.pd.concat(parts(reader, TABLES["deaths"], GAMES, tags=tags), ignore_index=True)
        for tags in (True, False)
    )
    assert tagged["player"].map(numbers).equals(told["player"]) and tagged["x"].equals(told["x"])
