"""The words and tables of a plan, from plans known by hand."""

import pytest

from dashboard.pages.plan_page import shown, why_so_many
from tests.dashboard.written import written

PLAN = {
    "game": "Moth Run",
    "target": "finish",
    "unit": "share",
    "now_half_width": 0.113,
    "wanted_half_width": 0.05,
    "players_needed": 45,
    "precision": [{"players": 4, "runs": 3, "half_width": 0.1034, "plays": 6}],
    "power": [{"players_each": 8, "chance": 0.148}, {"players_each": 10, "chance": 0.121}],
    "players_each_needed": None,
    "schedule": [{"number": n, "player": f"P{n:02d}", "builds": ["a", "b"], "runs": 3} for n in range(1, 13)],
    "asked_players": None,
}


def test_doubt_is_said_in_points_everywhere_and_every_column_has_a_name():
    text = written(shown(PLAN, 1))
    assert "the doubt, half of the 80 % interval, is ±11.3 points now; ±5 are wanted." in text
    assert "doubt left, ± points (80 %)" in text and "10.3" in text and "0.103" not in text
    assert "playtests simulated" in text and "chance to tell them apart, %" in text and "14.8" in text
    assert "Planned for one target only, “finish”" in text and "a, then b" in text


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({}, "what one session usually gives; no class tells the builds apart with a chance of 80 %."),
        ({"asked_players": 12}, "as asked for."),
        ({"players_each_needed": 6}, "as telling the builds apart takes."),
        ({"players_each_needed": 40}, "what one session usually gives. 80 would be needed."),
        ({"power": []}, "what one session usually gives. 45 would be needed."),
        ({"power": [], "players_needed": 12}, "as the wanted precision takes."),
        ({"power": [], "players_needed": 0}, "what one session usually gives; for this target nobody more is needed."),
        (
            {"power": [], "players_needed": None},
            "what one session usually gives. More than a class can give would be needed.",
        ),
    ],
)
def test_the_schedule_says_why_it_is_as_long_as_it_is(told, words):
    assert why_so_many(PLAN | told) == f"Scheduled: 12 players, {words}"
