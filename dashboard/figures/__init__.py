"""Findings drawn: pure functions (finding, theme) -> plotly figure, one module a question."""

from collections.abc import Callable
from functools import partial

import numpy as np
import plotly.graph_objects as go

from analysis.finding import Finding
from dashboard.figures import console, death_strip, deaths, genres, players, survival, timing
from dashboard.palette import Theme

Draw = Callable[[Finding, Theme], go.Figure | None]

# Finding id -> how it is drawn. A finding that is not here is shown by its sentence and its table.
FIGURES: dict[str, Draw] = {
    "deaths.places": deaths.places,
    "deaths.places_by_cause": deaths.places_apart,
    "deaths.places_by_stage": deaths.places_apart,
    "deaths.causes": deaths.causes,
    "deaths.by_stage": deaths.by_stage,
    "deaths.fairness": deaths.fairness,
    "deaths.one": death_strip.strip,
    "deaths.circumstances": deaths.circumstances,
    "survival.curve": survival.curve,
    "survival.hazard": survival.hazard,
    "survival.funnel": survival.funnel,
    "survival.ends": survival.ends,
    "survival.by_stage": survival.groups,
    "survival.by_build": survival.groups,
    "survival.by_attempt": survival.groups,
    "survival.by_group": survival.groups,
    "survival.by_first_time": survival.groups,
    "survival.builds": survival.builds,
    "survival.on_shots": survival.on_axis,
    "survival.on_progress": survival.on_axis,
    "survival.on_lives": survival.on_axis,
    "survival.on_attempts": survival.on_axis,
    "timing.hit_share": timing.hit_share,
    "timing.window": timing.window,
    "timing.players": timing.players,
    "timing.songs": timing.songs,
    "timing.passages": timing.passages,
    "timing.drift": timing.drift,
    "timing.density": timing.density,
    "timing.lanes": timing.lanes,
    "timing.attempts": timing.attempts,
    "timing.latency": timing.latency,
    "players.skill": players.skill,
    "players.learning": players.learning,
    "players.groups": players.groups,
    "players.quits": players.quits,
    "players.ratings": players.ratings,
    "console.bounce": players.bounce,
    "console.slide": console.slide,
    "console.slow_frames": console.slow_frames,
    "survival.risks": genres.risks,
    "timing.grades": genres.grades,
    "genres.boss": genres.boss,
    "genres.tiers": genres.tiers,
    "genres.levels": genres.levels,
    "genres.overflow": genres.overflow,
    "genres.longest_wait": genres.longest_wait,
    "genres.pace": genres.pace,
    "genres.streaks": genres.streaks,
    "genres.aim": genres.aim,
    "genres.intervals": genres.intervals,
    "trust.verdict": genres.damage,
    "trust.endings": genres.endings,
    "progress.target": genres.progress,
    "games.finished": genres.games,
    "games.quit": genres.games,
    "games.length": genres.games,
    "games.rating": genres.games,
}

# Findings whose figure needs the whole width.
WIDE = frozenset(
    {
        "timing.passages",
        "deaths.one",
        "deaths.places_by_cause",
        "deaths.places_by_stage",
        *(one for one in FIGURES if one.startswith("survival.on_")),
    }
)

# On paper a row holds more panels: what is there small is looked at closer.
_ON_PAPER: dict[Draw, Draw] = {
    survival.on_axis: partial(survival.on_axis, most_columns=5),
    deaths.places_apart: partial(deaths.places_apart, most_columns=6),
}
# Its warnings are long.
WIDE_ON_PAPER = WIDE | {"trust.verdict"}

# Findings whose figure says nothing where this column of this table is empty: in a game without deaths, say.
_NEEDS = {
    "deaths.circumstances": ("deaths", "x"),
    "players.skill": ("players", "own"),
    "players.quits": ("after", "share"),
    "console.slide": ("series", "noise_px"),
}
# Findings whose figure is that of their estimate, which is not there where nobody died, or nobody played a build.
_OF_ESTIMATE = {"console.slow_frames", "progress.target"}


def figure_for(finding: Finding, theme: Theme, paper: bool = False) -> go.Figure | None:
    """The figure of a finding, or None where it has none or nothing to draw. `paper`: in the form that saves pages."""
    draw = _draw_of(finding)
    if paper and draw is not None:
        draw = _ON_PAPER.get(draw, draw)
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
