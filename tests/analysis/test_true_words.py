"""Sentences against playtests in which they would be false."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.findings import games
from analysis.findings.players.console_faults import _slide_words
from analysis.levers import LEVERS
from analysis.selection import Selection
from tests.analysis.playtest import GAME, Playtest, reader_of


def shots(folder: Path, slowest: int, half: float, seed: int = 1):
    """Twelve players try targets of six speeds, each 10 faster; at speed `half` half would hit."""
    rng, test = np.random.default_rng(seed), Playtest()
    for who in range(1, 13):
        for _ in range(2):
            test.event("begin", 1000, who=who)
            for speed in np.repeat(slowest + 10 * np.arange(6), 2).tolist():
                chance = 1 / (1 + np.exp(0.05 * (speed - half)))
                test.event("puff", 500, ok=int(rng.random() < chance), fast=speed)
            test.event("over", 100, how=1)
    with test.study(folder, kinds=["begin", "puff", "over"]) as study:
        return {one.id: one for one in games.find(reader_of(study), Selection(GAME))}["genres.aim"]


def test_nothing_is_said_of_speeds_that_nobody_played(tmp_path):
    easy = shots(tmp_path, 20, half=110)  # 20 to 70 were played
    assert "half of the shots" not in easy.sentence and easy.facts["half_speed"] is None
    assert easy.facts["half_low"] is None and easy.facts["half_high"] is None


def test_an_interval_does_not_go_beyond_the_speeds_that_were_played(tmp_path):
    edge = shots(tmp_path, 20, half=67)
    assert 20 <= edge.facts["half_speed"] <= 70 and edge.facts["half_high"] is None
    assert edge.facts["half_low"] >= 20 and "half of the shots" in edge.sentence


def test_a_game_that_logs_shots_of_enemies_is_not_told_that_it_logs_none(tmp_path):
    test = Playtest()
    for who in range(1, 4):
        test.event("begin", 1000, who=who)
        test.event("enter", stage=1)
        test.event("fire", 500, x=1, y=1)
        test.event("over", 100, how=1)
    with test.study(tmp_path, kinds=["begin", "enter", "fire", "over"]) as study:
        (none,) = games.find(reader_of(study), Selection(GAME))
    assert none.id == "genres.none" and "enemy_shot" not in none.sentence and "a boss" in none.sentence


def test_a_game_without_such_events_is_told_which_there_are(tmp_path):
    test = Playtest()
    test.run(1, [2.0], sampled=False)
    with test.study(tmp_path, kinds=["begin", "enter", "died", "over"]) as study:
        (none,) = games.find(reader_of(study), Selection(GAME))
    assert all(f"`{role}`" in none.sentence for role in ("enemy_shot", "pickup", "piece", "landed", "trial"))


@pytest.mark.parametrize("role", ["fire_period", "drop_interval"])
def test_an_effect_that_play_did_not_settle_is_not_said_to_have_had_one_value_only(role):
    """Two values of it may have been played, and too few have died to tell."""
    for settled in (None, 0.05):
        said = LEVERS[role].carried_by(settled)
        assert said.startswith("prior") and "only one" not in said
    assert LEVERS[role].carried_by(0.9).startswith("data")


@pytest.mark.parametrize(("noise", "where"), [([0.2, 0.1], ""), ([0.2, 0.9], "1 of 2"), ([3.0, np.nan, 2.5], "2 of 2")])
def test_what_is_too_little_to_matter_touches_no_run(noise, where):
    table = pd.DataFrame({"power_up_id": range(len(noise)), "noise_px": noise, "noise": noise})
    said = _slide_words(table)
    assert ("too little" in said) == (where == "") and "every run" not in said
    assert f"in {where} power-ups" in said if where else "power-up" not in said
