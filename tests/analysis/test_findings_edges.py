"""Every finder over studies with next to nothing in them: a sensible answer or a clear sentence, never NaN in JSON."""

import json

import numpy as np
import pytest

from analysis.finding import Finding
from analysis.findings import deaths, games, players, survival
from analysis.findings.games import blocks, bosses_and_tiers, one_shot
from analysis.methods import METHODS
from analysis.selection import Selection
from ingest.study.store import open_study
from tests.analysis.playtest import GAME, Playtest, reader_of
from tests.ingest.studies import dictionary, event, imported

FINDERS = (deaths, survival, players, games)
MODULES = (*FINDERS, blocks, one_shot, bosses_and_tiers)


def checked(found: list[Finding]) -> dict[str, Finding]:
    """What must hold for any finding on any data."""
    assert found, "a question without an answer says why"
    assert len({f.id for f in found}) == len(found)
    for finding in found:
        text = json.dumps(finding.to_json(), allow_nan=False)
        assert "NaN" not in text and "Infinity" not in text
        assert finding.method in METHODS, finding.method
        for word in ("nan", "inf ", "None", "unknown share"):
            assert word not in finding.sentence, finding.sentence
        assert finding.sentence.endswith(".") and len(finding.sentence) > 20
        if finding.estimate and finding.estimate.low is not None and finding.estimate.value is not None:
            assert finding.estimate.low <= finding.estimate.value + 1e-9
        if finding.estimate and finding.estimate.high is not None and finding.estimate.value is not None:
            assert finding.estimate.value <= finding.estimate.high + 1e-9
    return {finding.id: finding for finding in found}


def nobody_played(test: Playtest) -> None:
    test.event("shoot")


def one_run_of_one_player(test: Playtest) -> None:
    test.run(1, [4.0, 2.0])


def one_player_several_runs(test: Playtest) -> None:
    for life in (2.0, 3.0, 5.0):
        test.run(1, [life, 1.5])


def all_quit(test: Playtest) -> None:
    for who in range(1, 5):
        test.run(who, [3.0 + who], ending=2)


def all_cut(test: Playtest) -> None:
    for who in range(1, 5):
        test.run(who, [3.0 + who], ending=None)


def nobody_died(test: Playtest) -> None:
    for who in range(1, 5):
        test.run(who, [5.0], ending=0)


def everybody_died_at_once(test: Playtest) -> None:
    for who in range(1, 6):
        test.run(who, [2.0])


def died_at_zero_seconds(test: Playtest) -> None:
    for who in range(1, 4):
        test.run(who, [0.0, 0.0], sampled=False)


def nobody_tagged(test: Playtest) -> None:
    for life in (1.0, 2.0, 4.0):
        test.run(0, [life])


def only_the_makers(test: Playtest) -> None:
    test.run(1, [2.0], team=1)


def one_of_everything(test: Playtest) -> None:
    test.run(1, [2.0], ending=None)
    for kind in ("fire", "shoot", "due", "push", "knob", "slow", "puff", "piece", "rest", "rows", "faster", "stars"):
        test.event(kind, 50)
    test.event("over", 50, how=1)


WORLDS = (
    nobody_played,
    one_run_of_one_player,
    one_player_several_runs,
    all_quit,
    all_cut,
    nobody_died,
    everybody_died_at_once,
    died_at_zero_seconds,
    nobody_tagged,
    only_the_makers,
    one_of_everything,
)


@pytest.mark.parametrize("world", WORLDS, ids=lambda w: w.__name__)
def test_every_finder_answers_thin_playtests(world, tmp_path):
    test = Playtest()
    world(test)
    with test.study(tmp_path) as study:
        for finder in FINDERS:
            checked(finder.find(reader_of(study), Selection(GAME)))
            checked(finder.find(reader_of(study), Selection(GAME, stage=1, stage_kind=0)))
            checked(finder.find(reader_of(study), Selection(GAME, stage=9)))
            checked(finder.find(reader_of(study), Selection(GAME, include_team=True)))


def test_an_empty_study_says_that_no_runs_are_chosen(tmp_path):
    with open_study(tmp_path / "empty.duckdb") as study:
        for finder in FINDERS:
            (only,) = checked(finder.find(reader_of(study), Selection("No Such Game"))).values()
            assert "No runs are chosen" in only.sentence and only.players == only.runs == 0


def test_a_game_without_deaths_says_so(tmp_path):
    test = Playtest()
    for who in range(1, 4):
        test.event("begin", 1000, who=who)
        test.event("over", 4000, how=0)
    with test.study(tmp_path, kinds=("begin", "over")) as study:
        (only,) = checked(deaths.find(reader_of(study), Selection(GAME))).values()
        assert "`death`" in only.sentence
        found = checked(survival.find(reader_of(study), Selection(GAME)))
        assert "survival.curve" not in found and found["survival.ends"].tables["ends"]["runs"].tolist() == [0, 0, 3, 0]
        checked(players.find(reader_of(study), Selection(GAME)))


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"x"}, "In 3 deaths there is no `y`, so there is no map"),
        ({"y"}, "In 3 deaths there is no `x`, so there is no map"),
        (set(), "In 3 deaths there is no `x` and no `y`, so there is no map"),
    ],
)
def test_deaths_without_a_place_get_no_map_but_the_name_of_the_missing_field(fields, words, tmp_path):
    kinds = {
        "begin": ("run_start", {"who": "u8 player"}),
        "died": ("death", {name: f"u8 {name}" for name in fields} | {"why": "u8 cause"}),
        "over": ("run_end", {"how": "u8 ending"}),
    }
    lines = [dictionary(kinds)]
    for who in (1, 2, 3):
        at = 10_000 * who
        lines += [event(at, "begin", who=who), event(at + 4000, "died"), event(at + 4000, "over", how=1)]
    with open_study(tmp_path / "study.duckdb") as study:
        imported(study, tmp_path / "a.playlog", lines)
        found = checked(deaths.find(reader_of(study), Selection("Moth Run")))
    assert next(iter(found)) == "deaths.no_place" and "deaths.places" not in found
    assert found["deaths.no_place"].sentence.startswith(words)
    assert found["deaths.causes"].tables["causes"]["deaths"].tolist() == [3]


def test_two_kinds_of_death_with_half_a_place_each_get_no_map(tmp_path):
    kinds = {
        "begin": ("run_start", {"who": "u8 player"}),
        "fell": ("death", {"x": "u8 x"}),
        "sank": ("death", {"y": "u8 y"}),
    }
    lines = [dictionary(kinds), event(0, "begin", who=1), event(10, "fell", x=1), event(20, "sank", y=1)]
    with open_study(tmp_path / "study.duckdb") as study:
        imported(study, tmp_path / "a.playlog", lines)
        found = checked(deaths.find(reader_of(study), Selection("Moth Run")))
    assert "No death of 2 has both `x` and `y`" in found["deaths.no_place"].sentence
    assert "deaths.places" not in found


def test_nobody_died_means_survival_of_one_with_wilsons_limit_on_players(tmp_path):
    test = Playtest()
    nobody_died(test)
    with test.study(tmp_path) as study:
        found = checked(survival.find(reader_of(study), Selection(GAME)))
    curve = found["survival.curve"].tables["curve"]
    assert np.all(np.asarray(curve["surviving"]) == 1)
    assert float(curve["low"].iloc[0]) == 1  # at 0 everybody is alive
    assert round(float(curve["low"].iloc[-1]), 4) == 0.5101  # Wilson, 4 of 4
    assert "Nobody died in 4 lives of 4 players" in found["survival.curve"].sentence


def test_fewer_than_eight_players_are_indicative(tmp_path):
    test = Playtest()
    everybody_died_at_once(test)
    with test.study(tmp_path) as study:
        assert all(f.indicative for f in survival.find(reader_of(study), Selection(GAME)))
