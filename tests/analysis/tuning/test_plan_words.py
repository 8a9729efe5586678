"""What a plan says of how many it takes, beside the simulated playtests that may speak against it."""

import pytest

from analysis.answers.plan_sheet import first, sheet, slower
from analysis.tuning.players_needed import more_needed

SLOT = {"number": 1, "player": "P01", "builds": ["1.0"], "runs": 3}


def plan(times: float, simulated: bool = True) -> dict:
    """Sixteen have played and leave 10 points of doubt, 5 are wanted; simulated it is `times` that of the law."""
    rows = [
        {"players": k, "runs": 3, "half_width": times * 0.1 * (16 / (16 + k)) ** 0.5, "plays": 9} for k in (4, 12, 32)
    ]
    return {
        "game": "Line",
        "target": "finish",
        "unit": "share",
        "runs": 3,
        "now_half_width": 0.1,
        "wanted_half_width": 0.05,
        "players_needed": more_needed(16, 0.1, 0.05),
        "precision": rows if simulated else [],
        "power": [],
        "players_each_needed": None,
        "schedule": [SLOT],
        "fingerprint": "x",
    }


@pytest.mark.parametrize(("times", "more"), [(1.0, False), (1.08, False), (1.12, True)])
def test_a_number_of_players_that_the_simulation_contradicts_is_said_to_be_too_few_perhaps(times, more):
    made = plan(times)
    assert slower(made) == more
    for words in ("\n".join(first(made)), sheet(made)):
        said = " ".join(words.split())
        assert "48 more first-time players" in said
        assert ("it may take more" in said) == more


def test_without_a_simulation_nothing_speaks_against_the_law():
    assert not slower(plan(2.0, simulated=False))
    assert not slower(plan(2.0) | {"players_needed": 0}) and not slower(plan(2.0) | {"players_needed": None})
