"""The two colour themes, for figures and pages alike: the same thing has the same colour everywhere.

The hues are those of Okabe and Ito, "Color Universal Design: how to make figures and presentations that are friendly
to colour-blind people" (2008, values as printed there); lightness is adjusted for contrast on each background, which
`tests/dashboard/figures/test_palette.py` measures. assets/style.css carries the same values as CSS variables.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Theme:
    """Colours by meaning. `series` tells builds, players or games apart, in order; `ramp` goes from nothing to most."""

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
    early: str
    late: str
    quit: str
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
    death="#c04f00",
    alive="#0072b2",
    hit="#00795a",
    early="#2b86bd",
    late="#b36b00",
    quit="#a3527f",
    series=("#0072b2", "#d55e00", "#00795a", "#a3527f", "#8a6d00", "#2b86bd"),
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
    early="#7cc8f0",
    late="#e9ad2f",
    quit="#dc96ba",
    series=("#56b4e9", "#f08a3c", "#2fc597", "#dc96ba", "#f0e442", "#9fb4c0"),
    ramp=("#1d2226", "#4a2a14", "#80430f", "#bd6416", "#f09344", "#ffdcae"),
)
THEMES = {theme.name: theme for theme in (LIGHT, DARK)}


def theme_called(name: str | None) -> Theme:
    """The theme of that name; light for anything else."""
    return THEMES.get(name or "", LIGHT)
