"""Every finding of the demo games becomes a figure that a browser can read, in both themes."""

import json
import re

import numpy as np
import pytest

from analysis.finding import Finding
from analysis.findings import QUESTIONS
from analysis.findings.deaths.seen import rounded_up
from analysis.models.targets import Outcome, Target
from analysis.selection import Selection
from analysis.tuning.whatif import OutcomeMap
from dashboard.figures import FIGURES, figure_for
from dashboard.figures.before_after import Row, before_after
from dashboard.figures.frame import interval_rows, interval_steps
from dashboard.figures.palette import LIGHT, THEMES
from dashboard.figures.tuning_figures import over_two


@pytest.fixture(scope="module")
def findings(read_session):
    return [f for game in read_session.games() for f in read_session.all_findings(Selection(game))]


def strict(text: str) -> dict:
    def refuse(word: str) -> None:
        raise AssertionError(f"{word} in a figure")

    return json.loads(text, parse_constant=refuse)


def test_every_question_says_something(findings):
    assert {finding.question for finding in findings} == set(QUESTIONS)


@pytest.mark.parametrize("theme", THEMES.values(), ids=lambda theme: theme.name)
def test_figures_are_json_without_nan(findings, theme):
    drawn = {finding.id: figure_for(finding, theme) for finding in findings if finding.id in FIGURES}
    assert len([figure for figure in drawn.values() if figure is not None]) > 20
    for name, figure in drawn.items():
        if figure is not None:
            assert strict(figure.to_json())["data"], name


def test_the_death_map_has_the_proportions_of_the_screen(findings):
    finding = next(f for f in findings if f.id == "deaths.places")
    layout = figure_for(finding, THEMES["light"]).layout
    assert list(layout.xaxis.range) == [0, finding.facts["screen_width"]]
    assert list(layout.yaxis.range) == [finding.facts["screen_height"], 0]
    assert layout.yaxis.scaleanchor == "x" and layout.yaxis.scaleratio in (None, 1)


def heats(figure):
    return [trace for trace in figure.data if trace.type == "heatmap"]


def test_the_death_map_says_what_its_colour_and_its_frames_are(findings):
    finding = next(f for f in findings if f.id == "deaths.places")
    bars = [heat.colorbar.title.text for heat in heats(figure_for(finding, LIGHT)) if heat.showscale]
    assert len(bars) == 1 and bars[0].startswith("deaths a minute")
    assert ("framed" in bars[0]) == (finding.facts["hot_cells"] > 0)


def test_a_colour_of_the_death_map_means_the_same_whatever_is_chosen(read_session):
    every = Selection("Soot Wardens")
    chosen = [every, Selection("Soot Wardens", stage=1), Selection("Soot Wardens", players=("P06",))]
    found = [read_session.finding("deaths.places", one) for one in chosen]
    assert {(heat.zmin, heat.zmax) for one in found for heat in heats(figure_for(one, LIGHT))} == {
        (0, found[0].facts["scale_per_min"])
    }
    # Of all runs no cell goes beyond it, and it is no more than twice what is needed.
    most = 60 * np.nanmax(found[0].tables["cells"]["smooth_rate"])
    assert most <= found[0].facts["scale_per_min"] <= 2 * most


def test_a_scale_ends_at_a_round_number():
    assert [rounded_up(most) for most in (10.2, 0.31, 15, 8.5, 0)] == [15, 0.4, 15, 10, 1]


def test_cells_with_little_time_are_pale_and_hot_ones_are_not(findings):
    cells = next(f for f in findings if f.id == "deaths.places").tables["cells"]
    figure = figure_for(next(f for f in findings if f.id == "deaths.places"), LIGHT)
    opacity = {}
    for heat in heats(figure):
        for row, column in zip(*np.nonzero(np.isfinite(heat.z)), strict=True):
            opacity[float(heat.x[column]), float(heat.y[row])] = heat.opacity
    drawn = cells[np.isfinite(cells["smooth_rate"])]
    assert len(opacity) == len(drawn)
    of = np.array([opacity[cell.x_px, cell.y_px] for cell in drawn.itertuples()])
    hot = drawn["hot"].to_numpy(bool)
    seconds = drawn["seconds"].to_numpy()
    assert hot.any() and (of[hot] == 1).all()
    assert len(set(of)) > 1 and all(np.diff(of[~hot][np.argsort(seconds[~hot])]) >= 0)


def test_the_hottest_place_says_its_deaths(findings):
    finding = next(f for f in findings if f.id == "deaths.places")
    said = figure_for(finding, LIGHT).layout.annotations[0].text
    deaths, times, low, high = re.search(
        r"took (\d+) deaths of .*?([\d.]+) times as many .*?interval ([\d.]+) to ([\d.]+) times", finding.sentence
    ).groups()
    assert f"{times} times as many as expected ({low} to {high})" in said.replace("<br>", " ")
    assert f"{deaths} deaths of" in said


def test_the_map_over_two_tunables_frames_what_is_within_tolerance():
    target = Target("finish", Outcome.FINISH, 0.6, tolerance=0.05)
    figure = np.array([[0.2, 0.56, 0.9], [0.54, 0.6, 0.651]])
    drawn = over_two(
        OutcomeMap("finish", "lives", "pace", (3, 4), (10, 20, 30), figure, figure), target, (3, 20), LIGHT
    )
    framed = {(shape.x0 + 0.5, shape.y0 + 0.5) for shape in drawn.layout.shapes}
    assert framed == {(0, 1), (1, 1)}
    heat, ring = drawn.data
    assert (list(ring.x), list(ring.y)) == (["3"], ["20"])
    # The same distance from what is wanted has the same strength of colour on both sides.
    assert heat.zmax - 60 == pytest.approx(60 - heat.zmin) and np.allclose(heat.z, 100 * figure.T)


def test_a_finding_without_rows_has_no_figure():
    empty = Finding("survival.curve", "survival", "t", "s", 0, 0, "m", tables={"curve": {"time": np.array([])}})
    assert figure_for(empty, THEMES["light"]) is None


def test_a_game_without_deaths_gets_no_empty_figure_of_them():
    nothing = {"player": ["P01"], "own": [np.nan], "low": [np.nan], "high": [np.nan], "rate_per_min": [0.0]}
    skill = Finding("players.skill", "players", "t", "s", 1, 1, "m", tables={"players": nothing})
    assert figure_for(skill, THEMES["light"]) is None
    one = nothing | {"own": [1.0], "low": [0.5], "high": [2.0]}
    drawn = Finding("players.skill", "players", "t", "s", 1, 1, "m", tables={"players": one})
    assert figure_for(drawn, THEMES["light"]) is not None


def test_one_huge_interval_does_not_press_the_others_flat():
    theme = THEMES["light"]
    table = {"rate": [2.0, 3.0, 2.5], "low": [1.0, 2.0, 0.1], "high": [4.0, 5.0, 760.0]}
    words = {"x": "attempt", "y": "deaths a minute", "colour": theme.death}
    steps = interval_steps(theme, ["1", "2", "3"], table, "rate", **words)
    assert list(steps.layout.yaxis.range) == [0, 9]
    rows = interval_rows(theme, ["a", "b", "c"], table, "rate", x="deaths a minute")
    assert list(rows.layout.xaxis.range) == [0, 9]
    table["high"] = [4.0, 5.0, 6.0]
    assert interval_steps(theme, ["1", "2", "3"], table, "rate", **words).layout.yaxis.range is None


def test_what_was_seen_is_drawn_where_no_curve_could_be_fitted():
    """One player's shots say nothing of how accuracy falls with speed."""
    speeds = {"speed": [1.0, 2.0], "shots": [9, 9], "share": [0.5, 0.4], "low": [None] * 2, "high": [None] * 2}
    found = Finding("genres.aim", "genres", "t", "s.", 1, 1, "m", tables={"speeds": speeds})
    seen = next(trace for trace in figure_for(found, LIGHT).data if trace.name == "seen")
    assert list(seen.y) == [50.0, 40.0]


SEVERAL = re.compile(
    r"(?<!stage )(?<![\d.,-])\b1 (?:hot |damaged |cut )?"
    r"(?:attempt|build|capture|death|event|hit|log|note|piece|player|prediction|run|shot|streak|trial)s\b|"
    r"(?<![\d.,])\b1 (?:lives|presses)\b"
)


@pytest.mark.parametrize("game", ["Soot Wardens", "Tin Drizzle"])
def test_one_of_anything_is_not_called_several(read_session, game):
    """Everything that is said of one player alone, in sentences, warnings and under the pointer."""
    assert SEVERAL.search("of 1 players") and SEVERAL.search("<br>1 deaths") and not SEVERAL.search("11 deaths")
    heard = 0
    for player in read_session.choices(game).players[:3]:
        for finding in read_session.all_findings(Selection(game, players=(player,))):
            drawn = figure_for(finding, LIGHT)
            words = [finding.sentence, *finding.warnings, "" if drawn is None else drawn.to_json()]
            heard += sum(" of 1 player" in text for text in words)
            assert [found[0] for text in words if (found := SEVERAL.search(text))] == [], finding.id
    assert heard > 3


def test_an_interval_without_bound_does_not_press_the_deaths_by_stage_flat():
    """Two players came to the boss: what they tell is next to nothing, and the other parts are still to be read."""
    segments = {
        "name": ["stage 1", "stage 2", "stage 2 boss"],
        "rate_per_min": [5.4, 6.2, 7.3],
        "low": [3.2, 2.9, 0.005],
        "high": [9.1, 13.5, 11_164.0],
    }
    one = Finding("deaths.by_stage", "deaths", "", "", 11, 24, "count", tables={"segments": segments})
    low, high = figure_for(one, LIGHT).layout.xaxis.range
    assert low == 0 and 13.5 < high <= 3 * 7.3


def test_what_is_wanted_does_not_run_into_the_numbers_of_its_line():
    def line(what):
        row = Row(what, "share", 0.63, 0.63, seen=0.58, seen_words="12 players, 12 runs", wanted=(0.5, 0.05))
        numbers, name = (note.text for note in before_after([row], LIGHT).layout.annotations)
        return numbers, name

    for letters in (10, 30, 44, 46, 60, 200):
        numbers, name = line("w" * letters)
        assert "12 players" in numbers and name.count("w") - name.count("wanted") >= min(letters, 46) - 1
        assert len(re.sub("<.*?>", "", numbers + name)) <= 100
    assert "wanted 50 %" in line("survive 60 s on the first attempt")[1]


@pytest.mark.parametrize(("interval_ms", "across"), [([420, 420, 420], [1, 2, 3]), ([400, 300, 200], [400, 300, 200])])
def test_levels_with_one_time_a_row_do_not_stand_on_each_other(interval_ms, across):
    levels = {
        "build": ["1"] * 3,
        "level": [1, 2, 3],
        "interval_ms": interval_ms,
        "rate_per_min": [0.1, 0.4, 0.9],
        "low": [0.05, 0.2, 0.5],
        "high": [0.3, 0.8, 1.5],
    }
    one = Finding("genres.levels", "genres", "", "", 12, 29, "count", tables={"levels": levels})
    (marks,) = figure_for(one, LIGHT).data
    assert list(marks.x) == across and list(marks.customdata) == interval_ms
