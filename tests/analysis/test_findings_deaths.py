"""Findings on deaths, survival and players against playtests whose answer is known by hand."""

import numpy as np
import pytest

from analysis.findings import deaths, players, survival
from analysis.findings.deaths.circumstances import AGAIN, RESPAWN, STILL
from analysis.findings.deaths.screen_cells import is_hot
from analysis.selection import Selection
from analysis.stats.fairness import longest_repeat, near_by_chance, notice_bands, repeated_place
from analysis.stats.picked import Ratios
from analysis.stats.places import Cells, HotSpots, smooth_rate
from analysis.words import amount
from tests.analysis.playtest import GAME, Playtest, reader_of


def by_id(found):
    return {finding.id: finding for finding in found}


def counted_ends(found):
    table = found["survival.ends"].tables["ends"]
    return dict(zip(table["end"], table["runs"], strict=True))


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """Ten players, three runs of three lives each; everybody dies at (100, 60), two quitters at (20, 60)."""
    test = Playtest()
    rng = np.random.default_rng(1)
    for attempt in range(3):
        for who in range(1, 11):
            lives = [float(v) for v in rng.uniform(2, 4 + 2 * attempt, 2)]
            test.run(who, [*lives, 1.0], x=100, age=150 if attempt == 0 else 400, new=int(attempt == 0), cause=2)
            if who > 5:
                test.event("stars", 100, value=10 * who)
    for who in (11, 12):
        test.run(who, [2.0, 0.5], ending=2, x=20, cause=1, last_died=True)
    test.run(13, [9.0], ending=None, team=1)
    with test.study(tmp_path_factory.mktemp("deaths")) as made:
        yield made


@pytest.mark.parametrize("own", [False, True])
def test_deaths_at_the_place_of_the_last_are_held_against_where_others_die(own, tmp_path):
    """All die at one of four places of the stage; or each player always at the same one, which is nobody else's."""
    rng, test = np.random.default_rng(3), Playtest()
    for who in range(1, 9):
        for _ in range(4):
            test.event("begin", 1000, who=who)
            test.event("enter", stage=1)
            for _ in range(5):
                place = who if own else int(rng.integers(0, 4))
                test.event("died", 3000, x=10 + 15 * place if own else 10 + 40 * place, y=60, left=9)
                test.event("alive", 100, left=9)
            test.event("over", 100, how=1)
    with test.study(tmp_path) as study:
        found = by_id(deaths.find(reader_of(study), Selection(GAME)))["deaths.circumstances"]
    if own:
        assert found.facts["again_expected"] == 0 and found.facts["again_more"] == 100
        assert "no more than chance" not in found.sentence
    else:
        assert found.facts["again_expected"] == pytest.approx(0.25, abs=0.04)
        assert found.facts["again_more_low"] <= 0 <= found.facts["again_more_high"]
        assert "no more than chance is shown" in found.sentence


def test_what_is_near_by_chance_is_counted_among_other_players_in_the_same_part():
    run, player = np.array([1, 1, 2, 2, 3]), np.array(["a", "a", "b", "b", "c"])
    x, part = np.array([0.0, 1, 2, 50, 3]), np.array([1, 1, 1, 1, 2])
    # Before a's second death lies 0: of b's two deaths one is within 5. Before b's second lies 2: both of a's are.
    found = near_by_chance(run, player, part, x, np.zeros(5), 5)
    np.testing.assert_array_equal(found, [np.nan, 0.5, np.nan, 1.0, np.nan])
    assert np.isnan(near_by_chance(run, player, np.arange(5), x, np.zeros(5), 5)).all()


def test_the_place_where_everybody_dies_is_hot_given_the_time_spent_there(study):
    found = by_id(deaths.find(reader_of(study), Selection(GAME)))["deaths.places"]
    cells = found.tables["cells"]
    hot = np.flatnonzero(np.asarray(cells["hot"]))
    assert [(cells["x_px"][i], cells["y_px"][i]) for i in hot] == [(96, 48)]
    assert cells["players"][hot[0]] == 10 and cells["deaths"][hot[0]] == 90
    assert cells["p"][hot[0]] == pytest.approx(0.001)
    assert found.facts["exposure"] and np.sum(cells["seconds"]) > 100
    assert sum(cells["deaths"]) == len(found.tables["deaths"]["life_id"]) == 94
    # As the method says, the kernel is half a cell wide: 8 of 16 px.
    half = smooth_rate(cells["deaths"], cells["seconds"], Cells(160, 128, 16), 8)
    np.testing.assert_allclose(cells["smooth_rate"], half)


def test_a_place_is_hot_where_chance_brings_one_in_at_most_one_playtest_of_twenty():
    """And never by one player's deaths alone."""
    column = np.zeros(4)
    spots = HotSpots(
        column, np.array([2, 2, 2, 1]), column, column, np.array([0.05, 0.06, 0.2, 0.001]), Ratios(*[column] * 3)
    )
    assert is_hot(spots).tolist() == [True, False, False, False]


def test_the_strongest_place_has_the_ratio_that_is_to_be_expected_again(study):
    """It was picked as the strongest: sentence, table and facts have the ratio drawn to the other places', not 90 to so
    few."""
    found = by_id(deaths.find(reader_of(study), Selection(GAME)))["deaths.places"]
    top = found.tables["cells"].iloc[int(np.argmax(np.asarray(found.tables["cells"]["hot"])))]
    raw = top["deaths"] / top["expected_deaths"]
    assert top["times_low"] < top["times"] < min(raw, top["times_high"])
    assert f"{amount(top['times'])} times as many" in found.sentence
    assert amount(top["expected_deaths"]) not in found.sentence
    assert [found.facts[name] for name in ("times", "times_low", "times_high")] == [
        top[name] for name in ("times", "times_low", "times_high")
    ]
    parts = by_id(deaths.find(reader_of(study), Selection(GAME)))["deaths.places_by_cause"].tables["parts"]
    assert (parts["times_low"] < parts["times"]).all() and (parts["times"] < parts["times_high"]).all()


def test_cells_by_cause_add_up(study):
    found = by_id(deaths.find(reader_of(study), Selection(GAME)))["deaths.places"].tables["by_cause"]
    assert found.to_dict("list") == {
        "cause": [1, 2],
        "label": ["beam", "spike"],
        "x_px": [16, 96],
        "y_px": [48, 48],
        "deaths": [4, 90],
    }


def test_each_cause_has_its_own_hot_places_corrected_for_all_of_them(study):
    found = by_id(deaths.find(reader_of(study), Selection(GAME)))["deaths.places_by_cause"]
    parts, cells = found.tables["parts"], found.tables["cells"]
    assert (
        list(parts["label"]) == ["beam", "spike"]
        and list(parts["deaths"]) == [4, 90]
        and list(parts["players"]) == [2, 10]
    )
    spike = list(cells["label"]).index("spike")
    assert (cells["x_px"][spike], cells["y_px"][spike]) == (96, 48) and cells["hot"][spike]
    assert parts["hot_cells"][1] == 1 and list(cells["deaths"]) == [4, 90]
    assert "corrected for all cells of 2 causes" in found.sentence


def test_time_on_the_map_is_the_time_alive(study):
    cells = by_id(deaths.find(reader_of(study), Selection(GAME)))["deaths.places"].tables["cells"]
    alive = study.connection.execute("SELECT sum(alive_us) / 1e6 FROM runs WHERE NOT team").fetchall()[0][0]
    # Samples begin 0.2 s after a spawn; nothing else is missing.
    lives = study.connection.execute("SELECT count(*) FROM lives JOIN runs USING (run_id) WHERE NOT team").fetchall()[
        0
    ][0]
    assert np.sum(cells["seconds"]) == pytest.approx(float(alive) - 0.2 * lives, abs=0.2 * 4)


def test_causes_carry_the_labels_and_add_up(study):
    causes = by_id(deaths.find(reader_of(study), Selection(GAME)))["deaths.causes"].tables["causes"]
    assert (
        list(causes["label"]) == ["spike", "beam"]
        and list(causes["deaths"]) == [90, 4]
        and list(causes["players"]) == [10, 2]
    )


def test_shares_of_deaths_without_time_to_react(study):
    found = by_id(deaths.find(reader_of(study), Selection(GAME)))["deaths.fairness"]
    assert found.tables["bands"]["deaths"].tolist() == [0, 30, 64]
    assert found.estimate.value == pytest.approx(30 / 94)


def test_deaths_within_a_second_of_respawn_and_at_the_same_place(study):
    found = by_id(deaths.find(reader_of(study), Selection(GAME)))
    assert not {"deaths.respawn", "deaths.again", "deaths.still"} & set(found)
    one = found["deaths.circumstances"]
    rows = one.tables["circumstances"].set_index("circumstance")
    assert rows.loc[RESPAWN, "share"] == pytest.approx(2 / 62)
    assert rows.loc[AGAIN, "share"] == 1.0 and one.facts["longest"] == 3
    # The two lives of half a second have two samples of position: too few to tell whether they stood still.
    assert rows["of"].tolist() == [62, 62, 92] and rows["deaths"].tolist() == [2, 62, 0]
    # A death that is both soon after a respawn and at the same place has a row for each.
    listed = one.tables["deaths"]
    assert listed["circumstance"].value_counts().to_dict() == {AGAIN: 62, RESPAWN: 2}
    assert set(listed[listed["circumstance"] == RESPAWN]["player"]) == {"P11", "P12"}
    assert "62 deaths" in one.sentence and "at one place was 3." in one.sentence


def test_quits_are_censored_and_the_makers_left_out(study):
    found = by_id(survival.find(reader_of(study), Selection(GAME)))
    curve = found["survival.curve"]
    assert curve.players == 12 and curve.tables["curve"]["at_risk"][0] == 94
    ends = counted_ends(found)
    assert ends == {"game_over": 30, "quit": 2, "finished": 0, "cut": 0}
    with_team = by_id(survival.find(reader_of(study), Selection(GAME, include_team=True)))
    assert counted_ends(with_team)["cut"] == 1


def test_learning_is_found_within_players(study):
    found = by_id(players.find(reader_of(study), Selection(GAME)))
    learning = found["players.learning"]
    # Lives grow from 3 to 5 s on average: with twice the attempts clearly fewer deaths a minute.
    assert learning.estimate.high < 1 and learning.tables["attempts"]["attempt"][:3].tolist() == [1, 2, 3]
    # Ten of them began as first-time players: the two groups are the same people, and that is said in both places.
    for finding in (
        found["players.groups"],
        by_id(survival.find(reader_of(study), Selection(GAME)))["survival.by_first_time"],
    ):
        assert any(warning.startswith("10 of the 1") and "same people" in warning for warning in finding.warnings)
    groups = found["players.groups"].tables["groups"]
    assert list(groups["group"]) == ["first-time players", "players who know the game", "the makers"]
    assert list(groups["runs"]) == [10, 22, 1]


def test_quits_are_counted_by_the_deaths_before(study):
    found = by_id(players.find(reader_of(study), Selection(GAME)))["players.quits"]
    assert found.tables["quits"]["player"].tolist() == ["P11", "P12"]
    assert found.tables["quits"]["deaths_here"].tolist() == [2, 2]
    after = found.tables["after"]
    # First deaths: 30 + 2, none given up; second: 30 + 2, two given up; third: game over, no choice.
    assert list(after["deaths"]) == [32, 32, 0] and list(after["quits"]) == [0, 2, 0]


def test_ratings_stand_beside_outcomes(study):
    found = by_id(players.find(reader_of(study), Selection(GAME)))["players.ratings"]
    assert found.players == 5 and found.tables["ratings"]["rating"].tolist() == [60, 70, 80, 90, 100]
    assert "designers" in found.sentence


def test_bands_and_repeats_by_hand():
    bands = notice_bands(np.array([50, 99.9, 100, 230.9, 231, np.nan]))
    assert (bands.nobody, bands.hardly, bands.enough) == (2, 2, 1)
    run, x = np.array([1, 1, 1, 2, 2]), np.array([10, 12, 40, 40, 41])
    again = repeated_place(run, x, np.zeros(5), 5)
    assert again.tolist() == [False, True, False, False, True] and longest_repeat(again) == 2
    assert longest_repeat(np.zeros(0, bool)) == 0


@pytest.mark.parametrize(("moves_px", "aim", "share"), [(0, 1, 1.0), (2, 1, 1.0), (3, 1, 0.0), (0, 0, 0.0)])
def test_standing_still_under_aimed_fire(moves_px, aim, share, tmp_path):
    test = Playtest()
    for who in range(1, 5):
        test.event("begin", 1000, who=who, left=1)
        for step in range(10):
            test.event("at", 200, x=50 + (moves_px if step == 8 else 0), y=90)
        test.event("fire", x=5, y=5, aim=aim)
        test.event("died", 100, x=50, y=90)
        test.event("over", how=1)
    with test.study(tmp_path) as study:
        found = by_id(deaths.find(reader_of(study), Selection(GAME)))["deaths.circumstances"]
    rows = found.tables["circumstances"].set_index("circumstance")
    assert rows.loc[STILL, "share"] == share and rows.loc[STILL, "of"] == 4
    assert len(found.tables["deaths"]) == 4 * share


def test_positions_too_seldom_are_said(tmp_path):
    test = Playtest()
    for who in range(1, 5):
        test.run(who, [4.0], sampled=False)
        test.event("at", x=5, y=5)
        test.event("fire", x=5, y=5, aim=1)
    with test.study(tmp_path) as study:
        found = by_id(deaths.find(reader_of(study), Selection(GAME)))["deaths.circumstances"]
    assert "too seldom" in found.sentence and found.tables["circumstances"]["of"].tolist() == [0]
    assert found.tables["deaths"].empty


def test_stages_are_compared_by_their_own_time_alive(tmp_path):
    test = Playtest()
    for who in range(1, 9):
        test.event("begin", 1000, who=who, left=5)
        for stage, deaths_there, gap in ((1, 1, 20_000), (2, 4, 5_000)):
            test.event("enter", stage=stage)
            for _ in range(deaths_there):
                test.event("died", gap, x=1, y=1)
                test.event("alive")
            test.event("leave", done=1)
        test.event("over", how=0)
    with test.study(tmp_path) as study:
        segments = by_id(deaths.find(reader_of(study), Selection(GAME)))["deaths.by_stage"].tables["segments"]
        groups = by_id(survival.find(reader_of(study), Selection(GAME)))["survival.by_stage"].tables["groups"]
    assert list(segments["rate_per_min"]) == pytest.approx([3.0, 12.0])
    # A life that goes on into stage 2 is cut short in stage 1: it is no death there.
    assert list(groups["deaths"]) == [8, 32] and list(groups["median"]) == [20.0, 5.0]
