"""What all figures share: margins, fonts, grid, hover; and marks that several draw, such as bands and whiskers."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go

from analysis.stats.estimate import LEVEL
from analysis.words import interval_name
from dashboard.figures.palette import Theme

# What axes and legends call the interval that is drawn.
INTERVAL = interval_name(LEVEL)
# As the pages' (assets/style.css).
FONT = "'Atkinson Hyperlegible Next', system-ui, 'Segoe UI', 'Noto Sans', 'DejaVu Sans', sans-serif"


def framed(
    theme: Theme, traces: Sequence[Any], x: str = "", y: str = "", height: int = 320, **layout: Any
) -> go.Figure:
    """A figure of `traces` with titled axes in the house's manner; `layout` overrides."""
    axis: dict[str, Any] = {
        "gridcolor": theme.rule,
        "linecolor": theme.rule,
        "zeroline": False,
        "ticks": "",
        "automargin": True,
        "title": {"font": {"size": 12, "color": theme.soft}, "standoff": 8},
    }
    base: dict[str, Any] = {
        "height": height,
        "margin": {"l": 8, "r": 12, "t": 12, "b": 8},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": FONT, "size": 12, "color": theme.ink},
        "colorway": list(theme.series),
        "hoverlabel": {"bgcolor": theme.panel, "bordercolor": theme.rule, "font": {"color": theme.ink, "family": FONT}},
        "legend": {"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom", "font": {"size": 12}},
        "xaxis": axis | {"title": axis["title"] | {"text": x}},
        "yaxis": axis | {"title": axis["title"] | {"text": y}},
        "showlegend": sum(1 for trace in traces if getattr(trace, "showlegend", None) is not False) > 1,
        "dragmode": False,
        "template": go.layout.Template(),  # plotly's own would add 7 kB to every figure and is overridden anyway
    }
    for key, value in layout.items():
        base[key] = base[key] | value if isinstance(value, dict) and isinstance(base.get(key), dict) else value
    return go.Figure(data=list(traces), layout=base)


def faded(colour: str, opacity: float) -> str:
    """A #rrggbb colour at an opacity."""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},{opacity})"


def band(x: Any, low: Any, high: Any, colour: str, name: str, step: bool = False) -> list[go.Scatter]:
    """An interval as a filled band: two traces."""
    line = {"width": 0, "shape": "hv" if step else "linear"}
    shared = {"mode": "lines", "line": line, "showlegend": False, "hoverinfo": "skip", "legendgroup": name}
    return [
        go.Scatter(x=x, y=low, **shared),
        go.Scatter(x=x, y=high, fill="tonexty", fillcolor=faded(colour, 0.18), **shared),
    ]


def stepped(x: Any, y: Any, low: Any, high: Any, colour: str, name: str, dash: str = "solid") -> list[go.Scatter]:
    """A curve in steps over the band of its interval: three traces, the curve last."""
    line = {"color": colour, "width": 2, "shape": "hv", "dash": dash}
    curve = go.Scatter(x=x, y=y, mode="lines", name=name, legendgroup=name, line=line)
    return [*band(x, low, high, colour, name, step=True), curve]


def errors(value: Any, low: Any, high: Any, colour: str) -> dict[str, Any]:
    """The whiskers of points, as plotly takes them."""
    return {
        "type": "data",
        "array": high - value,
        "arrayminus": value - low,
        "color": colour,
        "thickness": 1.6,
        "width": 5,
    }


def words_at(figure: go.Figure, text: str, x: float, y: float, size: int, colour: str, **more: Any) -> None:
    """Words on a figure, their lower left corner at these shares of its plot unless `more` says otherwise."""
    usual = {"xref": "paper", "yref": "paper", "xanchor": "left", "yanchor": "bottom", "showarrow": False}
    figure.add_annotation({"text": text, "x": x, "y": y, "font": {"size": size, "color": colour}} | usual | more)


def whiskers(
    theme: Theme,
    labels: Sequence[str],
    value: Any,
    low: Any,
    high: Any,
    *,
    name: str = "",
    colour: str = "",
    symbol: str = "circle",
) -> go.Scatter:
    """Points with their intervals, one a row. What is missing (NaN) is not drawn."""
    colour = colour or theme.alive
    v, lo, hi = (np.asarray(column, float) for column in (value, low, high))
    return go.Scatter(
        x=v,
        y=list(labels),
        mode="markers",
        name=name,
        marker={"color": colour, "size": 9, "symbol": symbol},
        error_x=errors(v, lo, hi, colour),
        customdata=np.column_stack([lo, hi]),
        hovertemplate="%{y}: %{x:.3g} (%{customdata[0]:.3g} to %{customdata[1]:.3g})<extra></extra>",
    )


def readable(value: Any, low: Any, high: Any) -> dict[str, Any]:
    """An axis from zero that one huge interval does not press flat; its whisker runs out of the figure then.

    {} where plotly's own choice is readable. The ends of every interval stand in the finding's table.
    """
    value, low, high = (column[np.isfinite(column)] for column in (value, low, high))
    most = float(value.max(initial=0.0))
    if most <= 0 or low.min(initial=0.0) < 0 or high.max(initial=0.0) <= 5 * most:
        return {}
    return {"range": [0, 3 * most]}


def whisker_height(rows: int) -> int:
    """The height of a figure with so many rows of whiskers."""
    return int(min(90 + 20 * max(rows, 1), 900))


def reference(figure: go.Figure, x: float, colour: str, label: str) -> None:
    """A labelled vertical line, such as today's setting."""
    figure.add_vline(
        x=x,
        line={"color": colour, "width": 1.4, "dash": "dot"},
        annotation={
            "text": label,
            "font": {"size": 11, "color": colour},
            "yanchor": "top",
            "textangle": -90,
            "xanchor": "right",
        },
    )


def interval_rows(
    theme: Theme,
    labels: Sequence[str],
    table: Mapping[str, Any],
    value: str,
    low: str = "low",
    high: str = "high",
    *,
    x: str,
    colour: str = "",
    scale: float = 1.0,
    zero: bool = False,
    limits: tuple[float, float] | None = None,
) -> go.Figure:
    """A figure of one interval a row, the first row on top. `scale` 100 makes per cent of shares."""
    v, lo, hi = (scale * np.array(table[name], float)[::-1] for name in (value, low, high))
    axis: dict[str, Any] = {"range": list(limits)} if limits else readable(v, lo, hi)
    rows = list(labels)[::-1]
    figure = framed(
        theme, [whiskers(theme, rows, v, lo, hi, colour=colour)], x=x, height=whisker_height(len(rows)), xaxis=axis
    )
    if zero:
        figure.add_vline(x=0, line={"color": theme.soft, "width": 1})
    return figure


def interval_steps(
    theme: Theme,
    at: Sequence[Any],
    table: Mapping[str, Any],
    value: str,
    low: str = "low",
    high: str = "high",
    *,
    x: str,
    y: str,
    colour: str,
    scale: float = 1.0,
    height: int = 280,
) -> go.Figure:
    """A figure of one interval for each of a few ordered steps, from left to right."""
    v, lo, hi = (scale * np.array(table[name], float) for name in (value, low, high))
    marks = go.Scatter(
        x=list(at),
        y=v,
        mode="markers+lines",
        marker={"color": colour, "size": 9},
        line={"color": faded(colour, 0.5), "width": 1.5},
        error_y=errors(v, lo, hi, colour),
        showlegend=False,
    )
    return framed(theme, [marks], x=x, y=y, height=height, xaxis={"type": "category"}, yaxis=readable(v, lo, hi))
