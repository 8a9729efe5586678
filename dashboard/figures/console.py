"""Figures on the console itself: noise of the slide, deaths after slow frames."""

import numpy as np
import plotly.graph_objects as go

from analysis.finding import Finding
from dashboard.figures.frame import framed, reference, whisker_height, whiskers
from dashboard.palette import Theme


def slide(finding: Finding, theme: Theme) -> go.Figure | None:
    """How far the player moves by itself while the slide is held still, on each console; None without pixels."""
    table = finding.tables["series"]
    noise = np.asarray([np.nan if value is None else value for value in table["noise_px"]], float)
    known = np.flatnonzero(np.isfinite(noise))[::-1]
    if not known.size:
        return None
    # The same recording may hold several power-ups, and a console several inputs.
    labels = [
        f"{table['capture'][row]}, power-up {table['power_up_id'][row]}, {table['what'][row]}"
        for row in known
    ]
    bars = go.Bar(
        x=noise[known],
        y=labels,
        orientation="h",
        width=0.5,
        marker={"color": theme.alive},
        hovertemplate="%{y}: %{x:.2f} pixels<extra></extra>",
        showlegend=False,
    )
    return framed(
        theme, [bars], x="standard deviation at rest, pixels", height=whisker_height(len(labels)),
        xaxis={"rangemode": "tozero"},
    )  # fmt: skip


def slow_frames(finding: Finding, theme: Theme) -> go.Figure | None:
    """The share of deaths soon after a slow frame, beside the share of time that is; None without deaths."""
    estimate, chance = finding.estimate, finding.facts.get("expected_share")
    if estimate is None or estimate.value is None or chance is None:
        return None
    label = f"deaths within {finding.facts.get('reach_ms', 0):.0f} ms of a slow frame"
    ends = [
        np.nan if value is None else 100 * value for value in (estimate.value, estimate.low, estimate.high)
    ]
    figure = framed(
        theme, [whiskers(theme, [label], *([end] for end in ends), colour=theme.death)], x="of all deaths, %",
        height=150, xaxis={"rangemode": "tozero"},
    )  # fmt: skip
    reference(figure, 100 * float(chance), theme.ink, "by chance")
    return figure
