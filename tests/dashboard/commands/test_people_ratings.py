"""Ratings from a CSV file, from the command line to the finding beside what happened in the runs."""

import json

import pytest

from dashboard.cli import main
from tests.analysis.playtest import GAME, Playtest


@pytest.fixture
def study_file(tmp_path):
    """Six players, three runs each of one life: the later the longer; the last player's console logs a rating too."""
    test = Playtest()
    for attempt in (1, 2, 3):
        for who in range(1, 7):
            test.run(who, [4.0 * attempt + who])
            if who == 6:
                test.event("stars", 100, value=1)
    test.study(tmp_path).close()
    return tmp_path / "test.duckdb"


def found_ratings(study_file, capsys):
    capsys.readouterr()
    assert main(["findings", "--study", str(study_file), "--question", "players", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    stack = [told]
    while stack:
        one = stack.pop()
        if isinstance(one, dict):
            if one.get("id") == "players.ratings":
                return one
            stack += one.values()
        elif isinstance(one, list):
            stack += one
    raise AssertionError("no finding on ratings")


def test_ratings_from_a_file_stand_beside_what_happened(study_file, tmp_path, capsys):
    # Who lasts longer rates lower, but every player rates the own longer runs higher.
    lines = ["player;game;attempt;rating"]
    lines += [
        f"P{who:02d};{GAME};{attempt};{80 - 10 * who + 5 * attempt}" for who in range(1, 7) for attempt in (1, 2, 3)
    ]
    table = tmp_path / "ratings.csv"
    table.write_text("\n".join(lines), encoding="utf-8-sig")
    assert main(["people", "--study", str(study_file), "--ratings", str(table)]) == 0
    found = found_ratings(study_file, capsys)
    # The file goes before the console's own 1: the mean of 25, 30 and 35 less 0.
    assert found["players"] == 6 and found["runs"] == 18
    assert found["tables"]["ratings"]["rating"] == [80, 70, 60, 50, 40, 30]
    outcomes, within = found["tables"]["outcomes"], found["tables"]["within"]
    assert outcomes["rank_correlation"][outcomes["outcome"].index("alive_s")] == pytest.approx(-1)
    at = within["outcome"].index("alive_s")
    assert within["rank_correlation"][at] == pytest.approx(1) and within["players"][at] == 6
    assert "within the same player" in found["sentence"]


def test_a_mistaken_file_changes_nothing(study_file, tmp_path, capsys):
    table = tmp_path / "ratings.csv"
    table.write_text(f"player,game,attempt,rating\nP01,{GAME},1,50\nP02,{GAME},1,500\n", encoding="utf-8")
    assert main(["people", "--study", str(study_file), "--ratings", str(table)]) != 0
    assert "line 3" in capsys.readouterr().err
    assert found_ratings(study_file, capsys)["tables"]["ratings"]["player"] == ["P06"]
