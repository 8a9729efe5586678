"""Findings drawn: pure functions (finding, theme) -> plotly figure, one module a question, found by the finding's id."""

from collections.abc import Callable

import plotly.graph_objects as go

from analysis.finding import Finding
from dashboard.figures import deaths, players, survival, timing
from dashboard.palette import Theme

Draw = Callable[[Finding, Theme], go.Figure]

# Finding id -> how it is drawn. A finding that is not here is shown by its sentence and its table.
FIGURES: dict[str, Draw] = {
    "deaths.places": deaths.places,
    "deaths.causes": deaths.causes,
    "deaths.by_stage": deaths.by_stage,
    "deaths.fairness": deaths.fairness,
    "deaths.again": deaths.scattered,
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
    "survival.on_shots": survival.curve,
    "survival.on_notes": survival.curve,
    "survival.on_lines": survival.curve,
    "survival.on_progress": survival.curve,
    "survival.on_lives": survival.curve,
    "survival.on_attempts": survival.curve,
    "timing.hit_share": timing.hit_share,
    "timing.window": timing.window,
    "timing.asymmetric": timing.asymmetric,
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
}

# Findings whose figure needs the whole width.
WIDE = frozenset({"timing.passages"})


def figure_for(finding: Finding, theme: Theme) -> go.Figure | None:
    """The figure of a finding, or None where it has none or nothing to draw."""
    return FIGURES[finding.id](finding, theme) if has_figure(finding) else None


def has_figure(finding: Finding) -> bool:
    """Whether the finding is drawn, and has something to draw."""
    return finding.id in FIGURES and any(len(c) for table in finding.tables.values() for c in table.values())
