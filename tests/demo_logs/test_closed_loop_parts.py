"""The sums of the parts script, on rounds and spells made by hand."""

import numpy as np

from tests.demo_logs.closed_loop_parts import danger_within, summary


def test_deaths_and_seconds_before_and_after_five_seconds_of_a_visit():
    """A visit of 3 s to a death, then 4 s to another (7 s in the visit); a second visit of 5 s; one without a place."""
    nan = float("nan")
    spells = {
        "run_id": np.array([1, 1, 2, 2]),
        "stage": np.array([1.0, 1.0, 1.0, nan]),
        "stage_kind": np.array([1.0, 1.0, 1.0, nan]),
        "level": np.array([nan] * 4),
        "alive_us": np.array([3e6, 4e6, 5e6, 9e6]),
        "ended_by": np.array(["death", "death", "stage_end", "death"], dtype=object),
    }
    assert danger_within(spells) == {"stage 1, stage_kind 1": [1.0, 10.0, 1.0, 2.0]}


def test_the_parts_are_means_in_points_with_their_standard_errors():
    def made(said, same, others, seen):
        return {
            "said": said,
            "same": same,
            "others": others,
            "seen": seen,
            "low80": said - 0.05,
            "high80": said + 0.05,
            "learning": -0.2,
            "cut": 1,
            "runs": 30,
            "danger": {"stage 1": [1.0, 10.0, 3.0, 20.0]},
        }

    found = summary([made(0.50, 0.48, 0.40, 0.50), made(0.60, 0.52, 0.60, 0.40)])
    assert found["said_minus_others"] == [5.0, 5.0]
    assert found["same_minus_others"] == [0.0, 8.0]
    assert found["said_minus_same"] == [5.0, 3.0]
    assert (found["inside_80_others"], found["inside_80_same"]) == (1, 1)
    assert found["deaths_a_second_at_first_and_later"] == {"stage 1": [0.1, 0.15]}
    assert found["cut_runs"] == "2 of 60"
