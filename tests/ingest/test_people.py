"""Groups and ratings from CSV files: what is taken, what is refused, and that a refusal changes nothing."""

from pathlib import Path

import pytest

from dashboard.cli import main
from demo_logs.simulator.sessions import BEGINNERS, people
from ingest.said.people import BadTable, take_players, take_ratings
from ingest.study.store import open_study
from tests.ingest.studies import dictionary, event, imported, rows

GAME = dictionary({"begin": ("run_start", {"who": "u8 player"}), "over": ("run_end", {"how": "u8 ending"})})


def test_groups_and_ratings_reach_the_runs_and_a_later_row_replaces_an_earlier(tmp_path: Path) -> None:
    with open_study(tmp_path / "s.duckdb") as study:
        imported(study, tmp_path / "a.playlog", [GAME, event(10, "begin", who=3), event(900, "over")])
        table = tmp_path / "players.csv"
        table.write_bytes(b"\xef\xbb\xbfPlayer;Group;Team\r\np3;beginners;\r\n4;class;yes\r\n")
        assert take_players(study.connection, table) == 2
        assert rows(study, "SELECT player, player_group, team FROM runs") == [("P03", "beginners", False)]
        table.write_text("player,first_time\nP3,yes\n", encoding="utf-8")
        assert take_players(study.connection, table) == 1
        assert rows(study, "SELECT player_group, first_time FROM runs") == [(None, True)]
        assert rows(study, "SELECT count(*) FROM players") == [(2,)]
        table.write_text("player,game,attempt,rating\nP03,Moth Run,1,40\nP03,Moth Run,1,62.5\n", encoding="utf-8")
        assert take_ratings(study.connection, table) == 1
        assert rows(study, "SELECT * FROM ratings") == [("P03", "Moth Run", 1, 62.5)]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("player,group\nP01,class\nAnna,class\n", "line 3: 'Anna' is no player tag"),
        ("player,nickname\nP01,x\n", "line 1: column 'nickname'"),
        ("group\nclass\n", "line 1: column 'player'"),
        ("player,team\nP01,perhaps\n", "line 2: team is yes, no or empty, not 'perhaps'"),
        ("player,group\nP01," + "x" * 41 + "\n", "line 2: a group is a word or two"),
        ("", "column 'player'"),
    ],
)
def test_a_mistake_is_told_with_its_line_and_changes_nothing(tmp_path: Path, text: str, says: str) -> None:
    table = tmp_path / "players.csv"
    table.write_text(text, encoding="utf-8")
    with open_study(tmp_path / "s.duckdb") as study:
        with pytest.raises(BadTable, match=r"players\.csv") as refused:
            take_players(study.connection, table)
        assert says in str(refused.value)
        assert rows(study, "SELECT count(*) FROM players") == [(0,)]


@pytest.mark.parametrize("row", ["P01,Moth Run,0,50", "P01,Moth Run,1,101", "P01,Moth Run,1,nan", "P01,,1,50"])
def test_ratings_out_of_range_are_refused(tmp_path: Path, row: str) -> None:
    table = tmp_path / "ratings.csv"
    table.write_text(f"player,game,attempt,rating\n{row}\n", encoding="utf-8")
    with open_study(tmp_path / "s.duckdb") as study, pytest.raises(BadTable, match="line 2"):
        take_ratings(study.connection, table)


def test_the_command_says_what_it_took_and_fails_with_a_message(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    study = tmp_path / "s.duckdb"
    open_study(study).close()
    table = tmp_path / "players.csv"
    table.write_text("player,group\nP01,class\n", encoding="utf-8")
    assert main(["people", "--study", str(study), "--players", str(table), "--json"]) == 0
    assert capsys.readouterr().out == '{"players": 1, "ratings": 0}\n'
    assert main(["people", "--study", str(study), "--ratings", str(table)]) == 3
    assert "line 1" in capsys.readouterr().err
    assert main(["people", "--study", str(study)]) == 2


def test_the_demo_s_groups_are_the_simulated_people_s(tmp_path: Path) -> None:
    table = Path("demo_logs/players.csv")
    with open_study(tmp_path / "s.duckdb") as study:
        take_players(study.connection, table)
        held = dict(rows(study, "SELECT player, player_group FROM players"))
    assert held == {f"P{n:02d}": "beginners" if n in BEGINNERS else "class" for n in people()}
