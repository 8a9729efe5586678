"""Figures on the console itself: noise of the slide, deaths after slow frames."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import plotly.graph_objects as go

from analysis.finding import Finding
from dashboard.figures.frame import framed, reference, whisker_height, whiskers
from dashboard.figures.palette import Theme


def slide(finding: Finding, theme: Theme) -> go.Figure | None:
    """How far the player moves by itself while the slide is held still, on each console; None without pixels."""
    table = finding.tables["series"]
    noise = np.asarray([np.nan if value is None else value for value in table["noise_px"]], float)
    known = np.flatnonzero(np.isfinite(noise))[::-1]
    if not known.size:
        return None
    labels = _consoles(table)
    bars = go.Bar(
        x=noise[known],
        y=[labels[row] for row in known],
        orientation="h",
        width=0.5,
        marker={"color": theme.alive},
        hovertemplate="%{y}: %{x:.2f} pixels<extra></extra>",
        showlegend=False,
    )
    return framed(
        theme,
        [bars],
        x="standard deviation at rest, pixels",
        height=whisker_height(known.size),
        xaxis={"rangemode": "tozero"},
    )


def _consoles(table: Mapping[str, Any]) -> list[str]:
    """Each row's recording, with what tells it from others of the same: the power-up in it, the input."""
    names = [str(name).removesuffix(".playlog") for name in table["capture"]]
    times: dict[str, list[int]] = {}
    for name, power_up in zip(names, table["power_up_id"], strict=True):
        known = times.setdefault(name, [])
        if power_up not in known:
            known.append(power_up)
    several = len({str(what) for what in table["what"]}) > 1
    return [
        name
        + (f", power-up {times[name].index(power_up) + 1}" if len(times[name]) > 1 else "")
        + (f", {what}" if several else "")
        for name, power_up, what in zip(names, table["power_up_id"], table["what"], strict=True)
    ]


def slow_frames(finding: Finding, theme: Theme) -> go.Figure | None:
    """The share of deaths soon after a slow frame, beside the share of time that is; None without deaths."""
    estimate, chance = finding.estimate, finding.facts.get("expected_share")
    if estimate is None or estimate.value is None or chance is None:
        return None
    ends = [np.nan if value is None else 100 * value for value in (estimate.value, estimate.low, estimate.high)]
    reach = f"{finding.facts.get('reach_ms', 0):.0f} ms"
    figure = framed(
        theme,
        [whiskers(theme, ["deaths"], *([end] for end in ends), colour=theme.death)],
        x=f"within {reach} of a slow frame, % of all",
        height=150,
        xaxis={"rangemode": "tozero"},
    )
    reference(figure, 100 * float(chance), theme.ink, "by chance")
    return figure
