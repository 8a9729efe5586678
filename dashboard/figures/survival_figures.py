"""Figures on how long players last: curves that step, hazards, the funnel of stages, endings."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import plotly.graph_objects as go

from analysis.finding import Finding
from dashboard.figures.direct_labels import End, ends_of, name_ends
from dashboard.figures.frame import INTERVAL, faded, framed, interval_rows, stepped, whisker_height, whiskers, words_at
from dashboard.figures.palette import Theme


def curve(finding: Finding, theme: Theme) -> go.Figure:
    """Kaplan-Meier steps with their interval; the median as a dotted line."""
    table, facts = finding.tables["curve"], finding.facts
    time, share, low, high = (np.asarray(table[name], float) for name in ("time", "surviving", "low", "high"))
    traces = stepped(time, 100 * share, 100 * low, 100 * high, theme.alive, "still going")
    hovertemplate = "%{x:.3g}: %{y:.0f} % (%{customdata} at risk)<extra></extra>"
    traces[-1].update(customdata=np.asarray(table["at_risk"]), hovertemplate=hovertemplate)
    event = facts.get("event", "the death")
    figure = framed(
        theme,
        traces,
        x=str(facts.get("axis", "seconds alive")),
        y=f"before {event}, %",
        yaxis={"range": [0, 102]},
        xaxis={"rangemode": "tozero"},
        showlegend=False,
    )
    median = facts.get("median")
    if median is not None and np.isfinite(median):
        figure.add_shape(
            type="path",
            path=f"M 0,50 L {median},50 L {median},0",
            line={"color": theme.soft, "width": 1.2, "dash": "dot"},
        )
    return figure


_PERCENT = (0.0, 102.0)
_BY = {
    "stage": "by stage",
    "build": "by build",
    "attempt": "by attempt",
    "group": "by group of players",
    "first_time": "new or not",
}


def on_axis(finding: Finding, theme: Theme, most_columns: int = 3) -> go.Figure:
    """The curve of all; beside it one panel for each way to group them, where there are groups."""
    table = finding.tables.get("curves")
    if table is None:
        return curve(finding, theme)
    by = np.asarray(table["by"], str)
    panels = list(dict.fromkeys(by.tolist()))
    columns = min(most_columns, 1 + len(panels))
    event, axis = finding.facts.get("event", "the death"), str(finding.facts.get("axis", ""))
    rows = _Rows(columns, 1 + len(panels))
    figure = framed(theme, [], height=80, showlegend=False)
    edges = figure.layout.margin
    height = rows.height + edges.t + edges.b
    figure.update_layout(height=height, meta={"least": height})
    _panel(figure, theme, 0, rows, "all", axis, f"before {event}, %")
    figure.add_traces(curve(finding, theme).data)
    for number, key in enumerate(panels, start=1):
        title = _BY.get(key, key)
        if key == "stage" and "stage_event" in finding.facts:
            title += f", until {finding.facts['stage_event']}"
        names = _panel(figure, theme, number, rows, title, axis)
        mine = by == key
        columns_of = {name: np.asarray(column)[mine] for name, column in table.items()}
        curves = [trace.update(**names) for trace in _group_curves(columns_of, theme)]
        figure.add_traces(curves)
        name_ends(figure, ends_of(curves), _PERCENT, panel=str(number + 1), plot_px=rows.PLOT, narrow=True)
    return figure


class _Rows:
    """`panels` in rows of `columns`, in pixels from the top: title, plot, axis. Names stand right of each plot."""

    TITLE, PLOT, AXIS, GAP = 24, 160, 44, 14
    ROW = TITLE + PLOT + AXIS + GAP
    NAMES = 0.29  # of a panel's width
    RIGHT = 0.05  # of the first panel, which has no names

    def __init__(self, columns: int, panels: int):
        self.columns = columns
        self.height = self.ROW * -(-panels // columns)

    def at(self, number: int, down: int) -> float:
        """The place `down` pixels below the top of panel `number`, as a share of the figure from its bottom."""
        return 1 - (self.ROW * (number // self.columns) + down) / self.height


def _panel(
    figure: go.Figure, theme: Theme, number: int, rows: _Rows, title: str, x: str, y: str = ""
) -> dict[str, str]:
    """Makes the axes and title of panel `number`; the names that its traces go by."""
    suffix = str(number + 1) if number else ""
    column = number % rows.columns
    left = column / rows.columns + (0.045 if column else 0.0)
    right = (column + 1 - (rows.NAMES if number else rows.RIGHT)) / rows.columns
    top, bottom = rows.at(number, rows.TITLE), rows.at(number, rows.TITLE + rows.PLOT)
    plain = {"gridcolor": theme.rule, "linecolor": theme.rule, "zeroline": False, "ticks": ""}
    words = {"size": 12, "color": theme.soft}
    figure.update_layout(
        {
            f"xaxis{suffix}": plain
            | {"domain": [left, right], "anchor": f"y{suffix}", "rangemode": "tozero"}
            | {"nticks": 4, "tickangle": 0}
            | {"title": {"text": x, "font": words, "standoff": 6}},
            f"yaxis{suffix}": plain
            | {"domain": [bottom, top], "anchor": f"x{suffix}", "range": [0, 102], "automargin": True}
            | {"title": {"text": y, "font": words, "standoff": 8}},
        }
    )
    words_at(figure, title, left, rows.at(number, 0), 13, theme.ink, yanchor="top")
    return {"xaxis": f"x{suffix}", "yaxis": f"y{suffix}"}


def _group_curves(table: Mapping[str, Any], theme: Theme) -> list[go.Scatter]:
    """One curve a group, each with its own colour and dash; with few of them their intervals too."""
    group = np.asarray([str(name) for name in table["group"]])
    names = list(dict.fromkeys(group.tolist()))
    time, share, low, high = (np.asarray(table[name], float) for name in ("time", "surviving", "low", "high"))
    traces: list[go.Scatter] = []
    for i, name in enumerate(names):
        mine = group == name
        colour = theme.series[i % len(theme.series)]
        dash = theme.dashes[i % len(theme.dashes)]
        drawn = stepped(time[mine], 100 * share[mine], 100 * low[mine], 100 * high[mine], colour, name, dash)
        traces += drawn if len(names) <= 3 else drawn[-1:]
    return traces


def groups(finding: Finding, theme: Theme) -> go.Figure:
    """The curves of several groups, each with its own colour and dash."""
    traces = _group_curves(finding.tables["curves"], theme)
    figure = framed(theme, traces, x="seconds alive", y="still alive, %", yaxis={"range": list(_PERCENT)}, height=340)
    name_ends(figure, ends_of(traces), _PERCENT)
    return figure


def hazard(finding: Finding, theme: Theme) -> go.Figure:
    """Deaths a minute, by how long the life has lasted."""
    table = finding.tables["hazard"]
    start, end, rate, low, high = (
        np.asarray(table[name], float) for name in ("start_s", "end_s", "rate_per_min", "low", "high")
    )
    edge = np.append(start, end[-1:])
    at, least, most = (np.append(column, column[-1:]) for column in (rate, low, high))
    traces = stepped(edge, at, least, most, theme.death, "deaths a minute")
    top = float(np.nanmax(np.append(rate, 1.0))) * 2.5
    return framed(
        theme,
        traces,
        x="seconds since the life began",
        y="deaths a minute",
        showlegend=False,
        xaxis={"rangemode": "tozero"},
        yaxis={"range": [0, min(top, float(np.nanmax(np.append(high, 0.1))) * 1.05)]},
    )


_FUNNEL = (("reach", "low", "high"), ("first_reach", "first_low", "first_high"), ("clear", "clear_low", "clear_high"))


def funnel(finding: Finding, theme: Theme) -> go.Figure:
    """The share of runs, and of first attempts, that reach each part of the game, and of visits that get through it.

    Every run reaches the only part of a game that has one: there the share that gets through stands alone.
    """
    table = finding.tables["segments"]
    labels = [str(name) for name in table["name"]][::-1]
    reach, first, clear = ([100 * np.asarray(table[name], float)[::-1] for name in columns] for columns in _FUNNEL)
    through = whiskers(theme, labels, *clear, name="visits played out get through", colour=theme.hit, symbol="x")
    points = [through]
    if len(labels) > 1:
        early = whiskers(theme, labels, *first, name="first attempts reach it", colour=theme.ink, symbol="diamond-open")
        points += [early, whiskers(theme, labels, *reach, name="runs reach it", colour=theme.alive)]
    value, colour = (reach[0], theme.alive) if len(labels) > 1 else (clear[0], theme.hit)
    bars = go.Bar(
        x=value,
        y=labels,
        orientation="h",
        width=0.62,
        offset=-0.31,
        marker={"color": faded(colour, 0.2)},
        hoverinfo="skip",
        showlegend=False,
    )
    for group, trace in enumerate(points):  # side by side in their row, the first one below
        trace.update(orientation="h", offsetgroup=str(group))
    of = "share" if len(labels) > 1 else "of the visits played out, get through"
    top = len(labels) - 1
    figure = framed(
        theme,
        [bars, *points],
        x=f"{of}, % ({INTERVAL})",
        height=whisker_height(len(labels)) + 10 * len(labels) + 40,
        showlegend=False,
        xaxis={"range": [0, 102]},
        yaxis={"range": [-0.5, top + 0.5]},
        meta={"least": 30 * len(labels) + 80},
        scattergap=0.4,
        scattermode="group",
    )
    if len(points) > 1:
        marks = [
            End(str(trace.name), float(trace.x[-1]), top + 0.2 * (group - 1), str(trace.marker.color))
            for group, trace in enumerate(points)
            if np.isfinite(trace.x[-1])
        ]
        name_ends(figure, marks, (-0.5, top + 0.5))
    return figure


_ENDS = {"game_over": ("game over", "death"), "finished": ("finished", "hit"), "quit": ("quit", "quit")}


def ends(finding: Finding, theme: Theme) -> go.Figure:
    """How runs ended by then: the cumulative share of each ending, the others competing."""
    table = finding.tables["incidence"]
    end = np.asarray([str(name) for name in table["end"]])
    time, share, low, high = (np.asarray(table[name], float) for name in ("time", "share", "low", "high"))
    traces: list[go.Scatter] = []
    for i, (key, (name, colour)) in enumerate(_ENDS.items()):
        mine = end == key
        if not mine.any():
            continue
        at, least, most = (100 * y[mine] for y in (share, low, high))
        traces += stepped(time[mine], at, least, most, getattr(theme, colour), name, theme.dashes[i])
    figure = framed(theme, traces, x="seconds alive", y="of all runs, %", yaxis={"range": list(_PERCENT)})
    name_ends(figure, ends_of(traces), _PERCENT)
    return figure


def builds(finding: Finding, theme: Theme) -> go.Figure:
    """How much longer a life lasts on one build than on the other."""
    table = finding.tables["pairs"]
    labels = [f"{b} against {a}" for a, b in zip(table["build_a"], table["build_b"], strict=True)]
    return interval_rows(
        theme, labels, table, "difference_s", x=f"seconds longer ({INTERVAL})", colour=theme.alive, zero=True
    )


def risks(finding: Finding, theme: Theme) -> go.Figure:
    """What raises the risk of dying, everything else alike."""
    table = finding.tables["factors"]
    labels = [str(unit) for unit in table["unit"]]
    figure = interval_rows(theme, labels, table, "ratio", x=f"times the risk of dying ({INTERVAL})", colour=theme.death)
    figure.add_vline(x=1, line={"color": theme.soft, "width": 1})
    return figure
