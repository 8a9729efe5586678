"""The strip of one death, drawn from events that are known by hand."""

from itertools import pairwise

import numpy as np
import pytest

from analysis.finding import Finding
from dashboard.figures import figure_for
from dashboard.figures.palette import THEMES
from dashboard.web.opened import Opened, opened_at

LIGHT = THEMES["light"]
FACTS = {
    "life": 1,
    "seconds": 5.0,
    "spawn_s": -60.0,
    "shot_s": -0.6,
    "reaction_s": 0.231,
    "screen_width": 160,
    "screen_height": 128,
}


def strip(rows, theme=LIGHT, **facts):
    """The figure of events (what, before_s, x, y, value, lane)."""
    names = ("what", "before_s", "x", "y", "value", "lane")
    columns = list(zip(*rows, strict=True))
    kinds = (object, *[float] * 5)
    events = {
        name: np.array([np.nan if v is None else v for v in column], kind)
        for name, column, kind in zip(names, columns, kinds, strict=True)
    }
    finding = Finding("deaths.one", "deaths", "t", "s", 1, 1, "m", tables={"events": events}, facts=FACTS | facts)
    return figure_for(finding, theme)


ROWS = [
    ("death", -4.5, 150, 20, 2, None),
    ("position", -3.0, 10, 100, None, None),
    ("enemy_shot", -2.5, 5, 5, 1, None),
    ("enemy_shot", -2.4, 5, 5, 0, None),
    ("shot", -2.0, 10, 90, None, None),
    ("pickup", -1.5, 12, 100, 1, None),
    ("input", -1.2, None, None, 512, 0),
    ("position", -1.0, 40, 101, None, None),
    ("death", 0.0, 44, 101, 2, None),
    ("input", -0.3, None, None, 600, 0),
]


def named(figure, name):
    """The trace that its hover text calls `name`."""
    return next(trace for trace in figure.data if f"<extra>{name}</extra>" in trace.hovertemplate)


def test_every_kind_of_event_stands_on_a_row_of_its_own():
    figure = strip(ROWS)
    assert list(figure.layout.yaxis4.ticktext) == ["enemy shots, aimed", "enemy shots, other", "own shots", "pick-ups"]
    for name, at, row in (
        ("enemy shots, aimed", -2.5, 0),
        ("enemy shots, other", -2.4, 1),
        ("own shots", -2.0, 2),
        ("pick-ups", -1.5, 3),
    ):
        trace = named(figure, name)
        assert (list(trace.x), list(trace.y), trace.yaxis) == ([at], [row], "y4"), name


def test_ways_and_inputs_are_curves_over_the_same_time():
    figure = strip(ROWS)
    left, top = (trace for trace in figure.data if "<extra>player</extra>" in trace.hovertemplate)
    # A death ends a way: no line leads from it to where the next life began.
    assert np.array_equal(left.y, [150, np.nan, 10, 40, 44, np.nan], equal_nan=True)
    assert np.array_equal(top.y, [20, np.nan, 100, 101, 101, np.nan], equal_nan=True)
    assert (list(named(figure, "input 0").x), list(named(figure, "input 0").y)) == ([-1.2, -0.3], [512, 600])
    assert {trace.xaxis for trace in figure.data} == {None}
    # Pixels from the top grow downwards, and a small step is drawn as one.
    low, high = figure.layout.yaxis2.range
    assert low > high and low - high >= 128 / 4


def test_the_killing_shot_and_what_a_reaction_takes_are_marked():
    figure = strip(ROWS)
    shade = next(shape for shape in figure.layout.shapes if shape.type == "rect")
    assert (shade.x0, shade.x1) == (-0.6, pytest.approx(-0.369))
    assert {note.text: note.x for note in figure.layout.annotations} == {"killing shot fired": -0.6, "death": 0.0}
    assert "shaded: 231 ms, a simple reaction" in figure.layout.xaxis.title.text
    # A death that comes before anybody could have reacted ends the shade, and the words say how long it is.
    early = strip(ROWS, shot_s=-0.2)
    shade = next(shape for shape in early.layout.shapes if shape.type == "rect")
    assert (shade.x0, shade.x1) == (-0.2, 0.0)
    assert "shaded: 200 ms from the killing shot to the death; a simple" in early.layout.xaxis.title.text


@pytest.mark.parametrize(
    ("facts", "shade", "words"),
    [
        ({"shot_s": -0.1}, (-0.1, 0.0), {"killing shot fired", "death"}),
        ({"shot_s": None}, None, {"death"}),
        ({"shot_s": -7.0}, None, {"death"}),
        ({"shot_s": None, "spawn_s": -2.0, "life": 2}, None, {"death", "respawn"}),
        ({"shot_s": None, "spawn_s": -2.0}, None, {"death", "start"}),
    ],
)
def test_what_is_not_on_the_strip_is_not_marked(facts, shade, words):
    layout = strip(ROWS, **facts).layout
    shades = [(shape.x0, shape.x1) for shape in layout.shapes if shape.type == "rect"]
    assert shades == ([] if shade is None else [shade])
    assert {note.text for note in layout.annotations} == words
    assert ("shaded" in layout.xaxis.title.text) == (shade is not None)


def test_a_game_without_positions_has_rows_only_and_one_with_nothing_a_line():
    figure = strip([("landed", -1.0, 3, 4, 5, None), ("death", 0.0, None, None, None, None)], shot_s=None)
    assert list(figure.layout.yaxis.ticktext) == ["landed pieces"] and len(figure.data) == 1
    nothing = strip([("death", 0.0, None, None, None, None)], shot_s=None)
    assert len(nothing.data) == 0 and [note.text for note in nothing.layout.annotations] == ["death"]


def test_panels_do_not_overlap_and_fill_the_figure():
    for rows in (ROWS, ROWS[:3], ROWS[1:2]):
        layout = strip(rows).layout.to_plotly_json()
        domains = sorted(layout[name]["domain"] for name in layout if name.startswith("yaxis"))
        assert domains[0][0] == pytest.approx(0) and domains[-1][1] == pytest.approx(1)
        assert all(below[1] < above[0] for below, above in pairwise(domains))


def test_an_address_opens_what_it_says():
    opened = opened_at("?game=X&place=96-48&death=17-2&run=17")
    assert opened == Opened((96, 48), (17, 2), 17)
    assert opened.words() == "&place=96-48&death=17-2&run=17" and opened_at("?x=1" + opened.words()) == opened
    assert Opened().words() == "" and Opened(run=3).words() == "&run=3"


@pytest.mark.parametrize(
    "search",
    [
        None,
        "",
        "?place=&death=",
        "?place=1&death=1-",
        "?place=-1-2",
        "?death=1-2-3",
        "?run=-1",
        "?run=٣",
        "?place=9999999999-1",
        "?death=<b>-1",
        "?" + "&" * 9000,
    ],
)
def test_an_address_without_sense_opens_nothing(search):
    assert opened_at(search) == Opened()
