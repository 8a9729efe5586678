"""Each player who is known on both builds is a line from before to after; nobody else is."""

import numpy as np
import pytest

from analysis.findings.declared import Size
from analysis.findings.progress.builds_compared import TARGET
from analysis.stats.estimate import Estimate
from dashboard.figures import figure_for
from dashboard.figures.palette import LIGHT


def compared(before, after, how="players"):
    players = {"player": [f"P{i:02}" for i in range(len(before))], "before": before, "after": after}
    builds = {"build": ["1.0", "1.1"], "figure": [0.4, 0.6], "players": [9, 9]}
    facts = {"target": "most see it", "changed": "lives 3 -> 5", "how": how, "verdict": "unsure", "closer": None}
    difference = Estimate(0.2, -0.1, 0.5, unit="share")
    return TARGET.finding(
        Size(9, 9), "They do.", difference, {"builds": builds, "players": players}, facts | {"unit": "share"}
    )


def lines(finding):
    figure = figure_for(finding, LIGHT)
    thin = [trace for trace in figure.data if trace.mode == "lines"]
    return [tuple(trace.y) for trace in thin], " ".join(one.text for one in figure.layout.annotations)


@pytest.mark.parametrize("count", [1, 3, 40])
def test_every_player_has_a_line_also_where_all_did_the_same(count):
    drawn, words = lines(compared([0.0] * count, [1.0] * count))
    assert len(drawn) == len(set(drawn)) == count
    assert np.allclose(drawn, [0, 100], atol=6), "spread, but not to where it would mean something else"
    assert f"{count} player" in words and "no line" in words


def test_lines_end_where_the_player_did():
    drawn, words = lines(compared([0.1, 0.7, 0.3], [0.9, 0.2, 0.4], how="within"))
    assert np.allclose(sorted(drawn), [(10, 90), (30, 40), (70, 20)])
    assert "counts once" not in words


def test_where_nobody_is_known_on_both_the_figure_says_so_and_has_no_lines():
    drawn, words = lines(compared([], []))
    assert drawn == [] and "no lines of players" in words
