"""Findings drawn: pure functions (finding, theme) -> plotly figure, one module a question."""

from collections.abc import Callable
from functools import partial

import numpy as np
import plotly.graph_objects as go

from analysis.finding import Finding
from dashboard.figures import (
    comparison_figures,
    console_figures,
    death_figures,
    death_maps,
    death_strip,
    genre_figures,
    player_figures,
    survival_figures,
    timing_figures,
    trust_figures,
)
from dashboard.figures.palette import Theme

Draw = Callable[[Finding, Theme], go.Figure | None]

# Finding id -> how it is drawn. A finding that is not here is shown by its sentence and its table.
FIGURES: dict[str, Draw] = {
    "deaths.places": death_maps.places,
    "deaths.places_by_cause": death_maps.places_apart,
    "deaths.places_by_stage": death_maps.places_apart,
    "deaths.causes": death_figures.causes,
    "deaths.by_stage": death_figures.by_stage,
    "deaths.fairness": death_figures.fairness,
    "deaths.one": death_strip.strip,
    "deaths.circumstances": death_figures.circumstances,
    "survival.curve": survival_figures.curve,
    "survival.hazard": survival_figures.hazard,
    "survival.funnel": survival_figures.funnel,
    "survival.ends": survival_figures.ends,
    "survival.by_stage": survival_figures.groups,
    "survival.by_build": survival_figures.groups,
    "survival.by_attempt": survival_figures.groups,
    "survival.by_group": survival_figures.groups,
    "survival.by_first_time": survival_figures.groups,
    "survival.builds": survival_figures.builds,
    "survival.on_shots": survival_figures.on_axis,
    "survival.on_progress": survival_figures.on_axis,
    "survival.on_lives": survival_figures.on_axis,
    "survival.on_attempts": survival_figures.on_axis,
    "timing.hit_share": timing_figures.hit_share,
    "timing.window": timing_figures.window,
    "timing.players": timing_figures.players,
    "timing.songs": timing_figures.songs,
    "timing.passages": timing_figures.passages,
    "timing.drift": timing_figures.drift,
    "timing.density": timing_figures.density,
    "timing.lanes": timing_figures.lanes,
    "timing.attempts": timing_figures.attempts,
    "timing.latency": timing_figures.latency,
    "players.skill": player_figures.skill,
    "players.learning": player_figures.learning,
    "players.groups": player_figures.groups,
    "players.quits": player_figures.quits,
    "players.ratings": player_figures.ratings,
    "console.bounce": player_figures.bounce,
    "console.slide": console_figures.slide,
    "console.slow_frames": console_figures.slow_frames,
    "survival.risks": survival_figures.risks,
    "timing.grades": timing_figures.grades,
    "genres.boss": genre_figures.boss,
    "genres.tiers": genre_figures.tiers,
    "genres.levels": genre_figures.levels,
    "genres.overflow": genre_figures.overflow,
    "genres.longest_wait": genre_figures.longest_wait,
    "genres.pace": genre_figures.pace,
    "genres.streaks": genre_figures.streaks,
    "genres.aim": genre_figures.aim,
    "genres.intervals": genre_figures.intervals,
    "trust.verdict": trust_figures.damage,
    "trust.endings": trust_figures.endings,
    "progress.verdict": comparison_figures.verdict,
    "progress.target": comparison_figures.progress,
    "games.finished": comparison_figures.games,
    "games.quit": comparison_figures.games,
    "games.length": comparison_figures.games,
    "games.rating": comparison_figures.games,
}

# Findings whose figure is of several panels, and all that need the whole width.
PANELS = frozenset(one for one, draw in FIGURES.items() if draw in (survival_figures.on_axis, death_maps.places_apart))
WIDE = PANELS | {"timing.passages", "deaths.one"}

# On paper a row holds more panels: what is there small is looked at closer.
_ON_PAPER: dict[Draw, Draw] = {death_maps.places_apart: partial(death_maps.places_apart, most_columns=6)}
# On a narrow screen panels stand below each other.
_NARROW: dict[Draw, Draw] = {survival_figures.on_axis: partial(survival_figures.on_axis, most_columns=1)}
# Its warnings are long.
WIDE_ON_PAPER = WIDE | {"trust.verdict"}

# Findings whose figure says nothing where this column of this table is empty: in a game without deaths, say.
_NEEDS = {
    "deaths.circumstances": ("deaths", "x"),
    "survival.ends": ("incidence", "time"),
    "players.skill": ("players", "own"),
    "players.quits": ("players", "runs"),
    "console.slide": ("series", "noise_px"),
}
# Findings whose figure is that of their estimate, which is not there where nobody died, or nobody played a build.
_OF_ESTIMATE = {"console.slow_frames", "progress.target"}


def figure_for(finding: Finding, theme: Theme, paper: bool = False, narrow: bool = False) -> go.Figure | None:
    """The figure of a finding, or None where it has none or nothing to draw.

    paper: in the form that saves pages; narrow: in that for a screen on which two panels do not fit side by side.
    """
    draw = _draw_of(finding)
    if draw is not None:
        draw = (_ON_PAPER if paper else _NARROW if narrow else {}).get(draw, draw)
    return draw(finding, theme) if draw is not None and has_figure(finding) else None


def has_figure(finding: Finding) -> bool:
    """Whether the finding is drawn, and has something to draw."""
    if _draw_of(finding) is None:
        return False
    if finding.id in _NEEDS:
        table, column = _NEEDS[finding.id]
        values = np.asarray(finding.tables[table][column], float) if table in finding.tables else np.zeros(0)
        return bool(np.isfinite(values).any())
    return any(len(table) for table in finding.tables.values())


def _draw_of(finding: Finding) -> Draw | None:
    if finding.id in _OF_ESTIMATE and (finding.estimate is None or finding.estimate.value is None):
        return None
    return FIGURES.get(finding.id)
