"""Figures of the data themselves: what was lost on the way, and how runs ended."""

import numpy as np
import plotly.graph_objects as go

from analysis.finding import Finding
from dashboard.figures.frame import faded, framed, whisker_height
from dashboard.figures.palette import Theme


def damage(finding: Finding, theme: Theme) -> go.Figure:
    """Where in each log the damage lies."""
    captures, places = finding.tables["captures"], finding.tables["damage"]
    names = dict(zip(np.asarray(captures["capture_id"]).tolist(), [str(n) for n in captures["name"]], strict=True))
    labels = list(names.values())[::-1]
    whole = go.Bar(
        x=np.asarray(captures["bytes"], float)[::-1] / 1000,
        y=labels,
        orientation="h",
        marker={"color": faded(theme.alive, 0.25)},
        width=0.5,
        name="received",
        hovertemplate="%{y}: %{x:.0f} kB<extra></extra>",
    )
    traces: list[go.Bar | go.Scatter] = [whole]
    if len(places["byte_offset"]):
        traces.append(
            go.Scatter(
                x=np.asarray(places["byte_offset"], float) / 1000,
                y=[names[int(c)] for c in places["capture_id"]],
                mode="markers",
                text=[str(reason) for reason in places["reason"]],
                name="damage",
                marker={"symbol": "line-ns-open", "size": 16, "color": theme.ink, "line": {"width": 2}},
                hovertemplate="%{text} at %{x:.1f} kB<extra></extra>",
            )
        )
    return framed(theme, traces, x="kB into the log", height=whisker_height(len(labels)) + 50, showlegend=True)


def endings(finding: Finding, theme: Theme) -> go.Figure:
    """How many runs ended how."""
    table = finding.tables["endings"]
    names = {"finished": theme.hit, "game_over": theme.death, "quit": theme.quit, "cut": theme.soft}
    labels = [str(name) for name in table["ending"]]
    bars = go.Bar(
        x=np.asarray(table["runs"], float),
        y=[label.replace("_", " ") for label in labels],
        orientation="h",
        width=0.6,
        marker={"color": [names.get(label, theme.alive) for label in labels]},
    )
    return framed(theme, [bars], x="runs", height=whisker_height(len(labels)) + 20, showlegend=False)
