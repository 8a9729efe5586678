"""The two colour themes, for figures and pages alike: the same thing has the same colour everywhere.

The hues begin with those of Okabe and Ito, "Color Universal Design: how to make figures and presentations that are
friendly to colour-blind people" (2008, values as printed there); lightness is adjusted for contrast on each background,
which `tests/dashboard/figures/test_palette.py` measures. assets/style.css carries the same values as CSS variables.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Theme:
    """Colours, one meaning each.

    death: deaths, and what a change makes worse; hit: notes hit, parts cleared, runs finished, what is wanted; quit:
    giving up; alive: the player's way, and what is measured and is none of these; below, beyond: short of a target and
    past it. `series` tells stages, builds, songs apart, in order, in colours that mean nothing else; `ramp` goes from
    nothing to most. What is none of this (marks, shots, damage) is drawn in ink.
    """

    name: str
    page: str
    panel: str
    ink: str
    soft: str
    rule: str
    accent: str
    death: str
    alive: str
    hit: str
    quit: str
    below: str
    beyond: str
    series: tuple[str, ...]
    ramp: tuple[str, ...]
    dashes: tuple[str, ...] = ("solid", "dash", "dot", "dashdot", "longdash")


LIGHT = Theme(
    name="light",
    page="#f6f4ee",
    panel="#fdfcf8",
    ink="#1d2327",
    soft="#566068",
    rule="#dcdad2",
    accent="#0a5a61",
    death="#b84a00",
    alive="#0072b2",
    hit="#00795a",
    quit="#a3527f",
    below="#2b86bd",
    beyond="#b36b00",
    series=("#0072b2", "#8c6900", "#1d2327", "#8150d4", "#4d3800", "#1c7986"),
    ramp=("#fdfcf8", "#fbe0c8", "#f3b183", "#e07a35", "#b84a00", "#6e2a00"),
)
DARK = Theme(
    name="dark",
    page="#15191c",
    panel="#1d2226",
    ink="#e6e8e6",
    soft="#a3adb3",
    rule="#343b40",
    accent="#5fc4c6",
    death="#f08a3c",
    alive="#56b4e9",
    hit="#2fc597",
    quit="#dc96ba",
    below="#7cc8f0",
    beyond="#e9ad2f",
    series=("#56b4e9", "#f0e442", "#e6e8e6", "#8f7ff0", "#a89a5a", "#3aa0ae"),
    ramp=("#1d2226", "#4a2a14", "#80430f", "#bd6416", "#f09344", "#ffdcae"),
)
THEMES = {theme.name: theme for theme in (LIGHT, DARK)}


def theme_called(name: str | None) -> Theme:
    """The theme of that name; light for anything else."""
    return THEMES.get(name or "", LIGHT)
