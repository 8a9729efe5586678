"""The plotly.js that is shipped fits the Python package that writes its figures."""

import re
from pathlib import Path

from plotly.offline import get_plotlyjs_version

from dashboard.figures import figure_for
from dashboard.figures.palette import LIGHT
from dashboard.web import plotly_js

# What the cartesian bundle draws, as plotly.js's own dist/README.md lists it.
CARTESIAN = {
    "bar",
    "box",
    "contour",
    "heatmap",
    "histogram",
    "histogram2d",
    "histogram2dcontour",
    "image",
    "pie",
    "quiver",
    "scatter",
    "scatterternary",
    "violin",
}


def test_the_script_is_the_version_that_figures_are_written_for():
    version = re.search(rb"plotly\.js[^\n]* v(\d+\.\d+\.\d+)", plotly_js.script()[:400])
    assert version is not None and version[1].decode() == get_plotlyjs_version()
    assert (
        (Path(plotly_js.__file__).parents[1] / "vendored" / "LICENSE-plotly.js")
        .read_text(encoding="utf-8")
        .startswith("MIT")
    )


def test_every_figure_of_the_demo_study_can_be_drawn_by_it(read_session):
    from analysis.selection import Selection

    kinds = {
        trace.type
        for game in read_session.games()
        for finding in read_session.all_findings(Selection(game))
        for trace in getattr(figure_for(finding, LIGHT), "data", ())
    }
    assert {"scatter", "bar", "heatmap"} <= kinds <= CARTESIAN


def test_other_machines_get_it_compressed_and_this_one_plain(read_session):
    from dashboard.web.app import build_app

    client = build_app(read_session).server.test_client()
    asked = {"path": plotly_js.address(), "headers": {"Accept-Encoding": "gzip", "Host": "localhost"}}
    here = client.get(**asked)
    there = client.get(**asked, environ_base={"REMOTE_ADDR": "192.168.1.5"})
    assert here.data == plotly_js.script() and "Content-Encoding" not in here.headers
    assert there.data == plotly_js.compressed() and there.headers["Content-Encoding"] == "gzip"
    assert "immutable" in there.headers["Cache-Control"]


def test_what_is_carried_along_comes_with_licence_and_origin():
    folder = Path(plotly_js.__file__).parents[1] / "vendored"
    told = (folder / "README.md").read_text(encoding="utf-8")
    assert "morphdom 2.7.8" in told and "The MIT License" in (folder / "LICENSE-morphdom").read_text(encoding="utf-8")
    script = folder.parent / "assets" / "morphdom.min.js"
    assert 5_000 < script.stat().st_size < 20_000
