"""Names at the ends of lines, each in the colour of its line: a legend would send the eye to and fro."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.figures.frame import faded

# In pixels: a line of text, a letter of it, what is around it; how close ends are one height. In letters: when a name
# is broken.
_LINE, _LETTER, _EDGE, _SAME = 14, 6.3, 10, 4
_BROKEN_AT, _BROKEN_AT_NARROW, _MOST_LINES = 18, 13, 3
# A figure beside the answer is drawn no lower than this (assets/figures.js), and its axis takes some of it.
_LOWEST, _AXIS = 230, 62


@dataclass(frozen=True)
class End:
    """The last point of a line, and what the line is."""

    name: str
    x: float
    y: float
    colour: str


def ends_of(traces: Sequence[Any]) -> list[End]:
    """The ends of those traces that are to be told apart by their names: all but bands and marks without one."""
    found = []
    for trace in traces:
        x, y = np.asarray(trace.x, float), np.asarray(trace.y, float)
        known = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
        if trace.name and trace.showlegend is not False and known.size:
            last = known[np.argmax(x[known])] if trace.mode == "markers" else known[-1]
            colour = trace.line.color if "lines" in (trace.mode or "") else trace.marker.color
            found.append(End(str(trace.name), float(x[last]), float(y[last]), str(colour)))
    return found


def name_ends(
    figure: go.Figure,
    ends: Sequence[End],
    y: tuple[float, float],
    *,
    panel: str = "",
    plot_px: int | None = None,
    narrow: bool = False,
) -> None:
    """Writes the names right of a panel, in the order of their ends and apart from each other, and leads to each end.

    y: the range of the vertical axis. panel: "" for the first, "2" for that of `xaxis2`. plot_px: the panel's height,
    where it is certain; the first panel's room is made in the margin, another's must be there.
    """
    if not ends:
        return
    lines = [_broken(one.name, narrow) for one in ends]
    certain = plot_px is not None
    inner = plot_px if plot_px is not None else min(int(figure.layout.height), _LOWEST) - _AXIS
    needed = _LINE * sum(len(one) for one in lines)
    if needed > inner and not certain:
        figure.layout.height = max(int(figure.layout.height), needed + _AXIS)
        figure.update_layout(meta=(figure.layout.meta or {}) | {"least": needed + _AXIS})
        inner = needed
    low, high = y
    per_px = (high - low) / max(inner, 1)
    wanted = [(one.y - low) / per_px for one in ends]
    at = _apart(wanted, [one.x for one in ends], [_LINE * len(one) for one in lines], inner)
    left, right = _reach(figure, panel)
    figure.update_layout({f"xaxis{panel}": {"range": [left, right + 0.05 * (right - left)]}, "showlegend": False})
    for one, words, px in zip(ends, lines, at, strict=True):
        label = low + per_px * px
        figure.add_shape(
            type="line",
            xref=f"x{panel}",
            yref=f"y{panel}",
            x0=one.x,
            y0=one.y,
            x1=right + 0.05 * (right - left),
            y1=label,
            line={"color": faded(one.colour, 0.6) if one.colour.startswith("#") else one.colour, "width": 1},
        )
        figure.add_annotation(
            text="<br>".join(escape(line) for line in words),
            xref=f"x{panel} domain",
            yref=f"y{panel}",
            x=1,
            y=label,
            xshift=3,
            xanchor="left",
            yanchor="middle",
            align="left",
            showarrow=False,
            font={"size": 11 if narrow else 12, "color": one.colour},
        )
    if not certain:
        widest = max(len(line) for one in lines for line in one)
        figure.update_layout(margin={"r": round(_EDGE + _LETTER * widest)})


def _reach(figure: go.Figure, panel: str) -> tuple[float, float]:
    """What the traces of a panel reach from and to, from zero where nothing lies below it."""
    mine = [trace for trace in figure.data if (trace.xaxis or "x") == f"x{panel}"]
    x = np.concatenate([np.asarray(trace.x, float) for trace in mine])
    x = x[np.isfinite(x)]
    return min(0.0, float(x.min())), float(x.max())


def _broken(name: str, narrow: bool) -> list[str]:
    lines = textwrap.wrap(name, _BROKEN_AT_NARROW if narrow else _BROKEN_AT) or [""]
    if len(lines) > _MOST_LINES:
        lines = [*lines[: _MOST_LINES - 1], f"{lines[_MOST_LINES - 1][:-1]}…"]
    return lines


def _apart(wanted: Sequence[float], x: Sequence[float], heights: Sequence[int], inner: int) -> list[float]:
    """Middles of labels near `wanted`, pixels from the bottom of `inner`, that do not overlap.

    Of lines that end at one height the one that ends last has the lowest label, so that no leader crosses another.
    """
    order = sorted(range(len(wanted)), key=lambda i: (round(wanted[i] / _SAME), -x[i]))
    at = [0.0] * len(wanted)
    taken = -heights[order[0]] / 2
    for i in order:
        at[i] = max(wanted[i], taken + heights[i] / 2)
        taken = at[i] + heights[i] / 2
    free = inner + heights[order[-1]] / 2
    for i in reversed(order):
        at[i] = min(at[i], free - heights[i] / 2)
        free = at[i] - heights[i] / 2
    return at
