"""Tables as HTML: numbers stand right, texts are escaped, and what is left out is said."""

import numpy as np
import pandas as pd
import pytest
from dash import html
from markupsafe import Markup

from dashboard.web.html_tables import table
from dashboard.web.placing import placed, placed_table
from dashboard.web.templating import part
from tests.dashboard.web.test_shell import Read

NASTY = '"><script>alert(1)</script>'


def cells(made):
    return [words.get("class") for name, words in Read(made).elements if name == "td"]


@pytest.mark.parametrize("kind", [dict, pd.DataFrame])
def test_numbers_stand_right_in_a_frame_as_in_columns(kind):
    made = table(kind({"who": ["P01", "P02"], "deaths": [3, 12000], "rate_s": np.array([0.5, np.nan])}))
    assert cells(made) == [None, "num", "num"] * 2
    heads = [(words.get("class"), words["scope"]) for name, words in Read(made).elements if name == "th"]
    assert heads == [(None, "col"), ("num", "col"), ("num", "col")] and "rate s" in made
    assert [text for text in Read(made).texts if text.strip()][3:] == ["P01", "3", "0.5", "P02", "12,000", "–"]


def test_every_text_is_escaped_and_a_link_is_not():
    made = table({NASTY: [NASTY, part("link", NASTY, "/x?a=1&b=" + NASTY)]}, NASTY, scrolls=True)
    read = Read(made)
    assert "script" not in [name for name, _ in read.elements]
    assert read.texts.count(NASTY) == 4  # caption, heading, cell, link
    region, link = read.elements[0][1], dict(read.elements)["a"]
    assert region["aria-label"] == NASTY and region["tabindex"] == "0" and link["href"] == "/x?a=1&b=" + NASTY


def test_what_is_left_out_is_said_and_rows_keep_their_marks():
    made = table({"n": [1, 2, 3]}, most=2, marks=[{"class": "struck"}, {}, {}])
    rows = [words for name, words in Read(made).elements if name == "tr"][1:]
    assert rows == [{"class": "struck"}, {}] and "The first 2 of 3 rows" in made


def test_only_what_a_template_made_is_placed_on_a_page_of_dash():
    shown = placed_table({"who": [NASTY]}, "Who").to_plotly_json()["props"]["data-html"]
    assert "<table>" in shown and "<script>" not in shown
    assert placed(Markup("<b>x</b>")).to_plotly_json()["props"]["data-html"] == "<b>x</b>"
    with pytest.raises(TypeError):
        placed("<b>of a log</b>")
    assert isinstance(placed(Markup("")), html.Div)
