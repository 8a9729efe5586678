"""Colours: contrast as WCAG 2.2 asks, told apart by colour-blind people, the same in figures and pages."""

import itertools
import re
from pathlib import Path

import numpy as np
import pytest

from dashboard.figures.palette import DARK, LIGHT, THEMES

STYLE = (Path(__file__).parents[3] / "dashboard" / "assets" / "style.css").read_text(encoding="utf-8")


def linear(colour: str) -> np.ndarray:
    """#rrggbb as linear light, WCAG 2.2's definition of relative luminance."""
    part = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def contrast(a: str, b: str) -> float:
    high, low = sorted((float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (a, b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_black_on_white():
    # WCAG 2.2: "contrast ratios can range from 1 to 21".
    assert contrast("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("theme", THEMES.values(), ids=lambda theme: theme.name)
def test_text_and_marks_stand_out(theme):
    for back in (theme.page, theme.panel):
        assert contrast(theme.ink, back) >= 7, "text, WCAG 2.2 1.4.6"
        assert contrast(theme.soft, back) >= 4.5, "text, WCAG 2.2 1.4.3"
        assert contrast(theme.accent, back) >= 4.5
    # The names of lines are written in these; a mark would need 3 (WCAG 2.2 1.4.11).
    for words in (theme.death, theme.alive, theme.hit, theme.quit, *theme.series):
        assert min(contrast(words, back) for back in (theme.page, theme.panel)) >= 4.5, f"{words}, WCAG 2.2 1.4.3"
    for mark in (theme.below, theme.beyond):
        assert contrast(mark, theme.panel) >= 3, f"{mark}, WCAG 2.2 1.4.11"


# Vienot, Brettel & Mollon 1999, Color Research and Application 24:243-252: dichromats' view of linear RGB, as the
# product of their matrices (RGB to LMS, projection, back); figures from memory of that paper's table.
_TO_LMS = np.array([[17.8824, 43.5161, 4.11935], [3.45565, 27.1554, 3.86714], [0.0299566, 0.184309, 1.46709]])
_PROTAN = np.array([[0, 2.02344, -2.52581], [0, 1, 0], [0, 0, 1]])
_DEUTAN = np.array([[1, 0, 0], [0.494207, 0, 1.24827], [0, 0, 1]])


def lab(light: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear sRGB, D65."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ np.clip(
        light, 0, 1
    )
    f = np.array(
        [t ** (1 / 3) if t > (6 / 29) ** 3 else t / (3 * (6 / 29) ** 2) + 4 / 29 for t in xyz / [0.9505, 1, 1.089]]
    )
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("theme", THEMES.values(), ids=lambda theme: theme.name)
@pytest.mark.parametrize("sight", ["usual", "protan", "deutan"])
def test_what_means_different_things_looks_different(theme, sight):
    view = {"usual": np.eye(3)}.get(sight)
    if view is None:
        view = np.linalg.inv(_TO_LMS) @ (_PROTAN if sight == "protan" else _DEUTAN) @ _TO_LMS

    def apart(a: str, b: str) -> float:
        return float(np.linalg.norm(lab(view @ linear(a)) - lab(view @ linear(b))))

    # Common practice, no source: two patches 12 apart are told apart at a glance, two thin lines 18 apart.
    for group, least in (((theme.death, theme.hit, theme.quit), 12), (theme.series, 18)):
        for a, b in itertools.combinations(group, 2):
            assert apart(a, b) >= least, f"{a} and {b} are {apart(a, b):.0f} apart"
    if sight == "usual":  # for others dashes and names say it
        for a, b in itertools.product((theme.death, theme.hit, theme.quit), theme.series):
            assert apart(a, b) >= 25, f"{a} has a meaning, and {b} looks like it"


@pytest.mark.parametrize("theme", THEMES.values(), ids=lambda theme: theme.name)
def test_the_ramp_goes_one_way(theme):
    light = [float(linear(colour) @ [0.2126, 0.7152, 0.0722]) for colour in theme.ramp]
    assert light == sorted(light, reverse=theme is LIGHT)


@pytest.mark.parametrize("theme, block", [(LIGHT, 0), (DARK, 1)], ids=["light", "dark"])
def test_pages_and_figures_share_their_colours(theme, block):
    blocks = re.findall(r":root(?:\[data-theme=\"dark\"\])? \{(.*?)\}", STYLE, re.DOTALL)
    said = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", blocks[block]))
    for name in ("page", "panel", "ink", "soft", "rule", "accent", "death"):
        assert said[name] == getattr(theme, name), name
    assert said["good"] == theme.hit
