"""`setscrew class`: several studies side by side, of which some are copies, share a title, or are no studies."""

import json
import re

import numpy as np
import pytest

from analysis.answers.class_result import ClassResult
from analysis.findings.games.class_places import Entrant, class_places
from analysis.stats.players.shared_places import shared_places
from dashboard.cli import main
from dashboard.command_line import exits
from dashboard.sheets.class_sheet import class_sheet
from dashboard.state.shared_study import SharedStudy
from ingest.study.store import import_log, open_study
from tests.dashboard.conftest import DEMO

EVIL = "<script>alert(1)</script>"


def a_game(name, rating, players=12, study=None, logs=(), **more):
    spread = np.linspace(-6, 6, players)
    return Entrant(
        study or f"{name}.duckdb", name, {"rating": rating + spread} | more, {"rating": players}, frozenset(logs)
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Two studies of different games, a copy of one of them, and a file that is no study."""
    made = tmp_path_factory.mktemp("class")
    for name, logs in {"wardens": ["soot_wardens_b_table1"], "drizzle": ["tin_drizzle_b_table1"]}.items():
        with open_study(made / f"{name}.duckdb") as study:
            for log in logs:
                import_log(study, DEMO / f"{log}.playlog")
    (made / "copy.duckdb").write_bytes((made / "wardens.duckdb").read_bytes())
    (made / "none.duckdb").write_text("no study", encoding="utf-8")
    return made


def test_studies_that_cannot_be_read_are_named_and_the_others_go_on(folder, capsys):
    names = ["wardens", "none", "drizzle", "gone", "copy", "wardens"]
    with SharedStudy(folder / "wardens.duckdb"):  # as an open dashboard holds it
        code = main(["class", *[str(folder / f"{name}.duckdb") for name in names], "--json"])
    told = capsys.readouterr()
    found = json.loads(told.out)
    assert code == exits.INPUT and [one["study"] for one in found["unread"]] == ["none.duckdb", "gone.duckdb"]
    assert found["studies"] == [f"{name}.duckdb" for name in names[:5]]
    assert {row["game"] for row in found["placed"][0]["rows"]} == {"Soot Wardens", "Tin Drizzle"}
    assert any("copy.duckdb is left out" in remark for remark in found["remarks"])
    assert str(folder) not in json.dumps(found["unread"])


def test_a_folder_stands_for_the_studies_in_it(folder, capsys, tmp_path):
    main(["class", str(folder), "--json"])
    found = json.loads(capsys.readouterr().out)
    assert found["studies"] == ["copy.duckdb", "drizzle.duckdb", "none.duckdb", "wardens.duckdb"]
    assert len(found["placed"][0]["rows"]) == 2
    assert main(["class", str(tmp_path)]) == exits.INPUT and "is a folder" in capsys.readouterr().err


def test_places_are_those_of_the_players_means(folder, capsys):
    """The quits, by other SQL."""
    assert (
        main(["class", str(folder / "wardens.duckdb"), str(folder / "drizzle.duckdb"), "--json", "--by", "quit"]) == 0
    )
    (placed,) = json.loads(capsys.readouterr().out)["placed"]
    own = {}
    for row in placed["rows"]:
        with open_study(folder / row["study"]) as study:
            values = study.connection.execute(
                "SELECT avg((ending = 'quit')::INT) FROM runs WHERE NOT team AND valid AND NOT open AND "
                "ending <> 'cut' GROUP BY player"
            ).fetchnumpy()
        own[row["game"]] = next(iter(values.values()))
        assert row["estimate"]["value"] == pytest.approx(own[row["game"]].mean())
        assert row["estimate"]["players"] == own[row["game"]].size
    expected = shared_places([-values for values in own.values()])
    assert [(row["first"], row["last"]) for row in placed["rows"]] == [(one.first, one.last) for one in expected]


def test_one_study_is_no_class(folder, capsys):
    assert main(["class", str(folder / "drizzle.duckdb")]) == exits.THIN
    assert "it takes two games" in capsys.readouterr().err


def test_equal_games_share_the_first_place_and_a_better_one_has_it_alone():
    tied = class_places([a_game("Moth", 60), a_game("Newt", 61), a_game("Owl", 60)], by="rating").placed[0]
    assert [(row.first, row.last) for row in tied.rows] == [(1, 3)] * 3 and "All 3 games share" in tied.sentence
    apart = class_places([a_game("Moth", 90), a_game("Newt", 61), a_game("Owl", 60)], by="rating").placed[0]
    assert apart.sentence.startswith("Moth is first alone") and [row.first for row in apart.rows] == [1, 2, 2]


def test_whoever_names_no_figure_pays_for_all_of_them():
    """With two figures each has half the chance of error."""
    games = [a_game(name, rating, length=np.full(12, 30.0)) for name, rating in (("Moth", 60), ("Newt", 70))]
    games = [Entrant(g.study, g.game, g.means, g.runs | {"length": 12}, g.logs) for g in games]
    assert [round(one.level, 6) for one in class_places(games).placed] == [0.975, 0.975]
    assert [one.level for one in class_places(games, by="rating").placed] == [0.95]


def test_least_quits_come_first():
    quits = [
        Entrant(n, n, {"quit": np.full(12, v)}, {"quit": 36}, frozenset()) for n, v in (("Moth", 1.0), ("Newt", 0.0))
    ]
    assert [(row.game, row.first, row.last) for row in class_places(quits, by="quit").placed[0].rows] == [
        ("Newt", 1, 1),
        ("Moth", 2, 2),
    ]


def test_one_title_in_two_files_is_told():
    same = [a_game("Moth", 60, study="a", logs={"1"}), a_game("Moth", 60, study="b", logs={"2"})]
    found = class_places(same)
    assert found.games == 2 and "title of a game in a and b" in found.remarks[0]
    copy = class_places([*same, a_game("Moth", 60, study="c", logs={"1", "3"})])
    assert copy.games == 2 and any("c is left out" in remark for remark in copy.remarks)


def test_titles_are_escaped_and_every_game_has_its_line():
    games = [a_game(EVIL, 60, study=EVIL), a_game("Newt", 61)]
    result = ClassResult(class_places(games), ("a", "b"), ((EVIL, "gone"),))
    html = str(class_sheet(result))
    assert EVIL not in html and html.count("&lt;script&gt;") >= 3
    assert len(re.findall(r'class="dot"', html)) == 2 and "no ranking" in html
