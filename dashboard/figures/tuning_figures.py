"""The figures of tuning: what is predicted as things are and as proposed, against what is wanted."""

import textwrap
from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from analysis.models.targets import Target
from analysis.tuning.proposal import PredictedTarget, Prediction
from analysis.tuning.whatif import OutcomeMap
from dashboard.figures.frame import faded, framed, whisker_height
from dashboard.figures.palette import Theme


def predicted(targets: Sequence[PredictedTarget], theme: Theme) -> go.Figure:
    """Two rows a target, now and as proposed: median, 80 % interval thick, 95 % thin; what is wanted as a line."""
    rows: list[tuple[str, Prediction, str]] = []
    for target in targets:
        factor = 100 if target.unit == "share" else 1
        rows.append((_row(target.target, "no change"), scaled(target.now, factor), theme.soft))
        rows.append((_row(target.target, "as proposed"), scaled(target.proposed, factor), theme.alive))
    rows.reverse()
    figure = ranges(rows, theme)
    count = len(rows)
    for i, target in enumerate(targets):
        factor = 100 if target.unit == "share" else 1
        bottom = count - 2 * i - 2
        want, off = factor * target.wanted, factor * target.tolerance
        band = {"type": "rect", "y0": bottom - 0.45, "y1": bottom + 1.45, "layer": "below"}
        figure.add_shape(
            band | {"x0": want - off, "x1": want + off, "line": {"width": 0}, "fillcolor": faded(theme.hit, 0.18)}
        )
        figure.add_shape(band | {"x0": want, "x1": want, "line": {"color": theme.hit, "width": 2}})
    return figure


def over_two(mapped: OutcomeMap, target: Target, now: tuple[int, int], theme: Theme) -> go.Figure:
    """A target's predicted figure over two tunables: one colour where it falls short of what is wanted, another
    where it goes beyond, none where it is met; frames around the squares within tolerance, a ring on those of now.
    """
    factor = 100 if target.unit == "share" else 1
    figure, close = factor * mapped.figure.T, 100 * mapped.chance_close.T
    across, up = ([str(value) for value in values] for values in (mapped.across, mapped.up))
    off = float(max(np.abs(figure - factor * target.wanted).max(initial=0), factor * target.tolerance, 1e-9))
    heat = go.Heatmap(
        x=across,
        y=up,
        z=figure,
        customdata=close,
        xgap=2,
        ygap=2,
        zmin=factor * target.wanted - off,
        zmax=factor * target.wanted + off,
        colorscale=[[0, theme.below], [0.5, theme.panel], [1, theme.beyond]],
        showscale=False,  # the figure stands in every square
        texttemplate="%{z:.3g}",
        hovertemplate=f"{mapped.across_name} %{{x}}, {mapped.up_name} %{{y}}: %{{z:.3g}}; within tolerance: "
        "%{customdata:.0f} in 100<extra></extra>",
    )
    ring = go.Scatter(
        x=[str(now[0])],
        y=[str(now[1])],
        mode="markers",
        hoverinfo="skip",
        marker={"symbol": "circle-open", "size": 34, "color": theme.ink, "line": {"width": 2}},
    )
    category = {"type": "category", "showgrid": False}
    drawn = framed(
        theme,
        [heat, ring],
        x=mapped.across_name,
        y=mapped.up_name,
        height=120 + 34 * len(up),
        showlegend=False,
        xaxis=category | {"categoryarray": across},
        yaxis=category | {"categoryarray": up},
    )
    for j, i in zip(*np.nonzero(target.miss(mapped.figure.T) <= target.tolerance), strict=True):
        drawn.add_shape(
            type="rect", x0=i - 0.5, x1=i + 0.5, y0=j - 0.5, y1=j + 0.5, line={"color": theme.hit, "width": 2}
        )
    return drawn


def ranges(rows: Sequence[tuple[str, Prediction, str]], theme: Theme) -> go.Figure:
    """Predictions one above the other, the last row on top."""
    traces = []
    for label, p, colour in rows:
        for low, high, width in ((p.low95, p.high95, 1.5), (p.low80, p.high80, 6)):
            traces.append(
                go.Scatter(
                    x=[low, high],
                    y=[label, label],
                    mode="lines",
                    line={"color": faded(colour, 0.75), "width": width},
                    hoverinfo="skip",
                    showlegend=False,
                )
            )
        told = f"{p.value:.3g} (80 %: {p.low80:.3g} to {p.high80:.3g}; 95 %: {p.low95:.3g} to {p.high95:.3g})"
        traces.append(
            go.Scatter(
                x=[p.value],
                y=[label],
                mode="markers",
                marker={"color": colour, "size": 10, "line": {"color": theme.panel, "width": 1.5}},
                text=[told],
                hovertemplate="%{y}: %{text}<extra></extra>",
                showlegend=False,
            )
        )
    height = whisker_height(len(rows)) + 28 * len(rows)
    return framed(
        theme,
        traces,
        x="predicted (thick: 80 %, thin: 95 %; green: wanted, within tolerance)",
        height=height,
        showlegend=False,
    )


def scaled(p: Prediction, factor: float) -> Prediction:
    """A prediction in another unit."""
    return Prediction(factor * p.value, factor * p.low80, factor * p.high80, factor * p.low95, factor * p.high95)


def _row(target: str, what: str) -> str:
    """A label of two or three short lines. Texts may come from a log: nothing in them is markup."""
    lines = textwrap.wrap(target.replace("<", "‹").replace("&", "＆"), 30)[:2] or [""]
    return "<br>".join([*lines, what])
