"""The headline of a finding: one line of what its sentence says, and how far it can be relied on."""

import re
from pathlib import Path

import numpy as np
import pytest

from analysis import findings
from analysis.finding import CERTAINTIES, Finding
from analysis.findings.deaths.screen_cells import screen_side
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.stats.places import Cells
from analysis.words import as_often
from ingest.study.store import import_log, open_study

DEMO = Path(__file__).parents[2] / "demo_logs"
GAMES = ("Soot Wardens", "Tin Drizzle", "One Puff", "Crate Loft")


@pytest.fixture(scope="module")
def found(tmp_path_factory) -> dict[str, dict[str, Finding]]:
    """The findings of each demo game by id; of a made-up study of all demo logs."""
    with open_study(tmp_path_factory.mktemp("study") / "demo.duckdb") as study:
        for log in sorted(DEMO.glob("*.playlog")):
            import_log(study, log)
        reader = Reader(study.connection)
        return {game: {one.id: one for one in findings.find(reader, Selection(game=game))} for game in GAMES}


def test_a_headline_is_one_short_sentence(found):
    said = [one.headline for game in found.values() for one in game.values() if one.headline]
    assert len(said) > 15
    for line in said:
        assert len(line) <= 90
        assert line.endswith(".")
        assert line[0].isupper() or line[0].isdigit()


def test_the_headline_of_the_map_names_what_its_deaths_are(found):
    """Counted by hand from the table of deaths: the hottest cell's part and cause."""
    places = found["Soot Wardens"]["deaths.places"]
    cells, deaths = places.tables["cells"], places.tables["deaths"]
    top = cells.loc[cells["score"].where(cells["hot"]).idxmax()]
    inside = deaths[
        deaths["x"].between(top["x_px"], top["x_px"] + top["width_px"] - 1)
        & deaths["y"].between(top["y_px"], top["y_px"] + top["height_px"] - 1)
    ]
    cause = inside["cause_label"].value_counts()
    assert cause.iloc[0] >= 2 / 3 * len(inside)
    assert cause.index[0] in places.headline
    assert ((inside["stage"] == 2) & (inside["stage_kind"] == 1)).mean() >= 2 / 3
    assert "stage 2 boss" in places.headline


def test_a_game_without_stages_is_told_nothing_of_a_stage(found):
    by_stages = {"deaths.by_stage", "survival.funnel"}
    assert by_stages <= set(found["Soot Wardens"])
    for game in ("Crate Loft", "One Puff"):
        assert found[game] and not by_stages & set(found[game])
        assert not re.search(r"stage \d", " ".join(one.sentence for one in found[game].values())), game


def test_what_may_be_chance_is_doubtful(found):
    hazard = found["Soot Wardens"]["survival.hazard"]
    assert "may be chance" in hazard.sentence and hazard.certainty == CERTAINTIES[1]
    stage = found["Soot Wardens"]["deaths.by_stage"]
    assert "may be chance" not in stage.sentence and stage.certainty == CERTAINTIES[0]


def test_a_headline_that_may_be_chance_claims_nothing(found):
    """In the demo a life is not shown to be most in danger at any time, nor one cause to kill most."""
    said = {one.id: one.headline for game in found.values() for one in game.values() if one.doubtful and one.headline}
    assert {"survival.hazard", "deaths.causes"} <= set(said)
    for name, headline in said.items():
        assert re.search(r"\b(not|No|cannot|Cannot|perhaps|may)\b", headline), (name, headline)


@pytest.mark.parametrize(
    ("players", "doubtful", "certainty"), [(2, False, 2), (7, False, 1), (8, False, 0), (8, True, 1)]
)
def test_how_sure_follows_players_and_chance(players, doubtful, certainty):
    one = Finding("a.b", "a", "", "", players, 9, "count", headline="So.", doubtful=doubtful)
    assert one.certainty == CERTAINTIES[certainty]


@pytest.mark.parametrize(("players", "certainty"), [(2, 2), (7, 1), (8, 0), (0, 0)])
def test_how_sure_follows_those_whom_the_figure_rests_on(players, certainty):
    """Eleven played, but fewer bear on the figure; 0: how many is told elsewhere."""
    one = Finding("a.b", "a", "", "", 11, 24, "count", Estimate(4.0, 1.3, 12.0, players=players), headline="So.")
    assert one.certainty == CERTAINTIES[certainty]


def test_an_answer_that_cannot_be_told_is_not_called_solid(found):
    verdict = found["Soot Wardens"]["progress.verdict"]
    assert verdict.headline.startswith("Cannot be told") and verdict.certainty == CERTAINTIES[2]


def test_a_place_is_named_by_thirds_of_the_screen():
    cells = Cells(96, 96, 16)  # six by six: cells 0 and 1 are the left third, the top third
    at = {(0, 0): "upper left", (5, 5): "lower right", (0, 3): "left", (5, 2): "right"}
    for (column, row), words in at.items():
        assert screen_side(cells, 6 * row + column) == f"at the {words}"
    middles = [screen_side(cells, 6 * row + 2) for row in (0, 2, 5)]
    assert middles == ["at the top", "in the middle", "at the bottom"]


def test_a_ratio_of_rates_as_people_say_it():
    assert as_often(3.14159) == "3.1 times as often"
    assert as_often(99.7) == "100 times as often"
    assert as_often(0.81) == "19 % less often"
    assert as_often(1.52) == "52 % more often"
    assert as_often(1.001) == "as often"
    assert "unknown" in as_often(float(np.nan))


def test_no_curve_is_unsure_before_anything_happened(found):
    """Everybody is alive at 0; no run has ended in a way before the first that does, nor in one that none took."""
    for game in found.values():
        for one in game.values():
            for name in {"curve", "curves"} & set(one.tables):
                table = one.tables[name]
                if "surviving" not in table:
                    continue
                start = table[(table["time"] == 0) & (table["deaths"] == 0)]
                assert len(start) and (start[["surviving", "low", "high"]] == 1).all(axis=None), one.id
        if "survival.ends" in game:
            ends, by = (game["survival.ends"].tables[name] for name in ("ends", "incidence"))
            ended = ends[(ends["end"] != "cut") & (ends["runs"] > 0)]["end"]
            assert set(by["end"]) == set(ended)
            for _, rows in by.groupby("end"):
                assert (rows.iloc[0][["time", "share", "low", "high"]] == 0).all() and (
                    rows["share"].iloc[1:] > 0
                ).all()
