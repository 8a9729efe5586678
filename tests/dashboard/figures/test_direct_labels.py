"""Names at the ends of lines: all there, in their colours, apart, and in the order of the ends."""

import itertools

import plotly.graph_objects as go
import pytest

from analysis.selection import Selection
from dashboard.figures import figure_for
from dashboard.figures.direct_labels import End, ends_of, name_ends
from dashboard.figures.frame import framed
from dashboard.figures.palette import LIGHT

# The height of the smallest plot that is drawn (assets/figures.js), and of a line of its text, in pixels.
PLOT, LINE = 230 - 62, 14


def named(ends):
    lines = [go.Scatter(x=[0, one.x], y=[50, one.y], mode="lines", name=one.name) for one in ends]
    figure = framed(LIGHT, lines)
    name_ends(figure, ends, (0, 100))
    return {one.text: one for one in figure.layout.annotations}, figure


@pytest.mark.parametrize("y", [0.0, 50.0, 100.0])
def test_names_of_lines_that_end_in_one_place_stand_apart(y):
    ends = [End(f"stage {i}", 10 + i, y, LIGHT.series[i]) for i in range(6)]
    words, _ = named(ends)
    at = sorted(PLOT / 100 * one.y for one in words.values())
    assert len(at) == 6 and min(b - a for a, b in itertools.pairwise(at)) >= LINE - 0.01
    assert at[0] >= -LINE and at[-1] <= PLOT + LINE


def test_names_stand_in_the_order_of_the_ends_and_in_their_colours():
    ends = [End("low", 9, 10, "#0072b2"), End("high", 5, 90, "#8c6900"), End("middle", 9, 12, "#1d2327")]
    words, figure = named(ends)
    assert words["low"].y < words["middle"].y < words["high"].y
    assert {one.name: words[one.name].font.color for one in ends} == {one.name: one.colour for one in ends}
    assert figure.layout.showlegend is False


def test_many_names_make_the_figure_higher_instead_of_covering_each_other():
    words, figure = named([End(f"song {i}", 10, 0.0, "#0072b2") for i in range(30)])
    at = sorted((figure.layout.height - 62) / 100 * one.y for one in words.values())
    assert min(b - a for a, b in itertools.pairwise(at)) >= LINE - 0.01
    assert figure.layout.meta["least"] == figure.layout.height


def test_what_a_log_calls_a_thing_is_no_markup():
    words, _ = named([End("<b>x</b>", 1, 1, "#0072b2")])
    assert list(words) == ["&lt;b&gt;x&lt;/b&gt;"]


@pytest.mark.parametrize("finding", ["survival.by_stage", "survival.by_attempt", "survival.ends", "players.learning"])
def test_lines_that_are_told_apart_are_named_and_have_no_legend(read_session, finding):
    figure = figure_for(read_session.finding(finding, Selection("Soot Wardens")), LIGHT)
    written = {one.text.replace("<br>", " ") for one in figure.layout.annotations}
    ends = ends_of(figure.data)
    assert len(ends) > 1 and {one.name for one in ends} <= written
    assert figure.layout.showlegend is False
