"""What was counted of first runs stands beside what a proposal says of them."""

import pytest

from analysis.tuning_answers.first_runs import first_runs
from tests.analysis.playtest import GAME, Playtest, reader_of


def test_given_up_and_alive_are_counted_in_first_runs_only(tmp_path):
    test = Playtest()
    for player, ending in ((1, 1), (2, 2), (3, 1), (4, 1)):
        test.run(player, [6.0, 4.0], ending)
        test.run(player, [1.0], 2)
    with test.study(tmp_path) as study:
        reader = reader_of(study)
        (build,) = reader.ask("game_builds", game=GAME)["build"]
        counts, players, runs = first_runs(reader, GAME, str(build))
        assert first_runs(reader, GAME, "another") == ({}, 0, 0)
    assert (players, runs) == (4, 4)
    assert counts["quit_share"] == pytest.approx(1 / 4)
    assert counts["run_length_s"] == pytest.approx(10.0, abs=0.1)
