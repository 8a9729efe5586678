"""Findings on the demo logs against what the simulator knows to be true (demo_logs/truth.json)."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from analysis.findings import deaths, games, players, survival
from analysis.findings.basis import read_basis
from analysis.findings.players import console_faults
from analysis.reader import Reader
from analysis.selection import Selection
from ingest.study.store import import_log, open_study

DEMO = Path(__file__).parents[2] / "demo_logs"
# Without the damaged log and the one in which the console reset: there the truth is more than was logged.
LOGS = (
    "soot_wardens_a_table1",
    "soot_wardens_b_table1",
    "soot_wardens_b_table2",
    "one_puff_a_table1",
    "tin_drizzle_a_table2",
)
SHOOTER = Selection("Soot Wardens", include_team=True)


@pytest.fixture(scope="module")
def truth():
    return json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def reader(tmp_path_factory):
    with open_study(tmp_path_factory.mktemp("demo") / "demo.duckdb") as study:
        for name in LOGS:
            import_log(study, DEMO / f"{name}.playlog")
        yield Reader(study.connection)


def by_id(found):
    return {finding.id: finding for finding in found}


def true_runs(truth, game):
    return [run for name in LOGS if name.startswith(game) for run in truth["logs"][name]["runs"]]


def test_runs_end_and_get_as_far_as_they_did(reader, truth):
    runs = true_runs(truth, "soot_wardens")
    found = by_id(survival.find(reader, SHOOTER))
    ends = found["survival.ends"].tables["ends"]
    counted = dict(zip(ends["end"], ends["runs"], strict=True))
    for end in ("game_over", "quit", "finished"):
        assert counted[end] == sum(run["ending"] == end for run in runs)
    segments = found["survival.funnel"].tables["segments"]
    for i, (stage, boss) in enumerate(zip(segments["stage"], segments["stage_kind"], strict=True)):
        reached = sum((run["stage"], run["boss"]) >= (stage, boss) for run in runs)
        assert segments["entered"][i] == reached


def test_deaths_are_those_that_happened(reader, truth):
    runs = true_runs(truth, "soot_wardens")
    found = by_id(deaths.find(reader, SHOOTER))
    assert sum(found["deaths.causes"].tables["causes"]["deaths"]) == sum(run["deaths"] for run in runs)
    assert sum(found["deaths.by_stage"].tables["segments"]["deaths"]) == sum(run["deaths"] for run in runs)


def test_the_better_players_are_found_to_be_better(reader, truth):
    table = by_id(players.find(reader, SHOOTER))["players.skill"].tables["players"]
    skill = [truth["people"][name]["skill"] for name in table["player"]]
    assert stats.spearmanr(skill, table["own"]).statistic < -0.5


def test_streaks_are_as_long_as_they_were(reader, truth):
    runs = true_runs(truth, "one_puff")
    found = by_id(games.find(reader, Selection("One Puff", include_team=True)))["genres.streaks"]
    assert found.facts["longest"] == max(run["streak"] for run in runs)


def test_the_noise_of_each_slide_pot_is_measured(reader, truth):
    noises = {}
    for game in ("Soot Wardens", "Tin Drizzle"):
        selection = Selection(game, include_team=True)
        found = by_id(console_faults.find(reader, selection, read_basis(reader, selection)))["console.slide"].tables[
            "series"
        ]
        for capture, noise in zip(found["capture"], found["noise"], strict=True):
            if noise is not None:
                noises.setdefault(truth["logs"][Path(capture).stem]["console"], []).append(noise)
    assert len(noises) == 2
    for number, found in noises.items():
        assert np.median(found) == pytest.approx(truth["consoles"][str(number)]["pot_noise"], rel=0.35)


def test_only_the_console_that_bounces_is_said_to(reader, truth):
    selection = Selection("Tin Drizzle", include_team=True)
    found = by_id(console_faults.find(reader, selection, read_basis(reader, selection)))["console.bounce"]
    assert truth["consoles"]["2"]["bounce_chance"] == pytest.approx(found.estimate.value, rel=0.5)
