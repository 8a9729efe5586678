"""Findings drawn: pure functions (finding, theme) -> plotly figure, one module a question, found by the finding's id."""

from collections.abc import Callable
from typing import Any

import plotly.graph_objects as go

from analysis.finding import Finding
from dashboard.figures import deaths, timing
from dashboard.palette import Theme

Draw = Callable[[Finding, Theme], go.Figure]

# Finding id -> how it is drawn. A finding that is not here is shown by its sentence and its table.
FIGURES: dict[str, Draw] = {
    "deaths.places": deaths.places,
    "deaths.causes": deaths.causes,
    "deaths.by_stage": deaths.by_stage,
    "timing.hit_share": timing.hit_share,
    "timing.window": timing.window,
    "timing.asymmetric": timing.asymmetric,
    "timing.players": timing.players,
}


# Findings whose figure needs the whole width.
WIDE = frozenset({"deaths.places"})


def figure_for(finding: Finding, theme: Theme) -> go.Figure | None:
    """The figure of a finding, or None where it has none or nothing to draw."""
    draw = FIGURES.get(finding.id)
    has_rows = any(len(column) for columns in finding.tables.values() for column in columns.values())
    return draw(finding, theme) if draw is not None and has_rows else None


def column(finding: Finding, table: str, name: str) -> Any:
    """One column of one table of a finding."""
    return finding.tables[table][name]
