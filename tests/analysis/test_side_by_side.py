"""Games next to each other: what is shown is what is tested, and the highest of several is no discovery."""

import numpy as np

from analysis.findings.games.side_by_side import side_by_side
from analysis.selection import Selection


class _Runs:
    """A reader that answers with made-up runs of each game: (player, finished, seconds), one row a run."""

    def __init__(self, runs):
        self._runs = runs

    def ask_chosen(self, query, selection):
        assert query == "run_ends"
        player, finished, seconds = (np.asarray(column) for column in self._runs[selection.game])
        return {
            "run_id": np.arange(player.size),
            "player": player,
            "alive_us": 1e6 * seconds,
            "ending": np.where(finished, "finished", "game_over"),
            "rating": np.full(player.size, np.nan),
        }

    def found(self):
        return {f.id: f for f in side_by_side(self, [Selection(game) for game in self._runs])}


def test_one_player_with_many_runs_does_not_make_a_game_stand_out():
    """P0 finished 60 runs of A, nine others none: 87 % of the runs. Of ten players of B seven did, once each."""
    one = np.r_[np.zeros(60), np.arange(1, 10)], np.arange(69) < 60, np.full(69, 50.0)
    ten = np.arange(10, 20), np.arange(10) < 7, np.full(10, 50.0)
    finished = _Runs({"A": one, "B": ten}).found()["games.finished"]
    assert "A is highest (87 %" in finished.sentence and "do not tell it apart" in finished.sentence


def test_a_game_that_lasts_longer_for_everybody_is_told_apart_by_an_exact_p():
    runs = {
        "A": (np.arange(5), np.zeros(5, bool), 90.0 + np.arange(5)),
        "B": (np.arange(5, 10), np.zeros(5, bool), 20.0 + np.arange(5)),
    }
    length = _Runs(runs).found()["games.length"]
    # Both extremes of the 10 choose 5 = 252 ways; two games are one pair.
    assert length.tables["games"]["p"][1] == 2 / 252 and "is told apart from B" in length.sentence


def test_the_highest_of_three_is_one_of_three_pairs():
    runs = {
        game: (5 * g + np.arange(5), np.zeros(5, bool), 90.0 - 30 * g + np.arange(5)) for g, game in enumerate("ABC")
    }
    length = _Runs(runs).found()["games.length"]
    # Each pair for itself 2 / 252; A could as well have been held against B, A against C, or B against C.
    assert np.allclose(length.tables["games"]["p"][1:], 3 * 2 / 252)
