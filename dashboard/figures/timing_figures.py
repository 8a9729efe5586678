"""Figures on rhythm: windows, hands, songs. Early presses are left of due, late ones right, in every figure."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import plotly.graph_objects as go

from analysis.finding import Finding
from dashboard.figures.direct_labels import ends_of, name_ends
from dashboard.figures.frame import (
    INTERVAL,
    band,
    faded,
    framed,
    interval_rows,
    interval_steps,
    reference,
    whisker_height,
    whiskers,
)
from dashboard.figures.palette import Theme


def hit_share(finding: Finding, theme: Theme) -> go.Figure:
    """Each player's share of notes hit, the whole with its interval behind."""
    players = finding.tables["players"]
    order = np.argsort(np.asarray(players["share"], float))
    labels = [str(players["player"][i]) for i in order]
    share, low, high = (100 * np.asarray(players[name], float)[order] for name in ("share", "low", "high"))
    figure = framed(
        theme,
        [whiskers(theme, labels, share, low, high, colour=theme.hit)],
        x="notes hit, %",
        height=whisker_height(len(labels)),
        xaxis={"range": [0, 102]},
    )
    whole = finding.estimate
    if whole is not None and whole.value is not None:
        if whole.low is not None and whole.high is not None:
            figure.add_vrect(x0=100 * whole.low, x1=100 * whole.high, fillcolor=faded(theme.hit, 0.14), line_width=0)
        figure.add_vline(x=100 * whole.value, line={"color": theme.hit, "width": 1.5, "dash": "dash"})
    return figure


def window(finding: Finding, theme: Theme) -> go.Figure:
    """The share hit for every width of window: all notes with the interval, each player as a thin line."""
    curve, players = finding.tables["curve"], finding.tables["players"]
    names, at, share = (np.asarray(players[name]) for name in ("player", "window_ms", "share"))
    traces: list[go.Scatter] = []
    for name in dict.fromkeys(names.tolist()):
        own = names == name
        traces.append(
            go.Scatter(
                x=at[own],
                y=100 * share[own],
                mode="lines",
                line={"color": faded(theme.soft, 0.4), "width": 1},
                name=str(name),
                showlegend=False,
                hovertemplate=f"{name}: %{{y:.0f}} % at %{{x:.0f}} ms<extra></extra>",
            )
        )
    x, value, low, high = (np.asarray(curve[name], float) for name in ("window_ms", "share", "low", "high"))
    traces += band(x, 100 * low, 100 * high, theme.hit, "")
    traces.append(
        go.Scatter(x=x, y=100 * value, mode="lines", name="all notes", line={"color": theme.hit, "width": 2.5})
    )
    for name, label, dash in (("median", "median player", "dash"), ("lower_quarter", "lower quarter", "dot")):
        y = 100 * np.asarray(curve[name], float)
        traces.append(
            go.Scatter(x=x, y=y, mode="lines", name=label, line={"color": theme.ink, "width": 1.5, "dash": dash})
        )
    figure = framed(theme, traces, x="window to either side of due, ms", y="notes hit, %", yaxis={"range": [0, 102]})
    name_ends(figure, ends_of(traces), (0.0, 102.0))
    _today(figure, finding, theme, ("early_ms", "late_ms"))
    return _moved(figure, finding, theme) if "moved" in finding.tables else figure


def _moved(figure: go.Figure, finding: Finding, theme: Theme) -> go.Figure:
    """Beside it, what a window of the width in force would catch where it is moved."""
    moved = finding.tables["moved"]
    x, y = moved["moved_ms"].to_numpy(), 100 * moved["share"].to_numpy()
    line = {"color": theme.hit, "width": 2.5}
    figure.add_trace(
        go.Scatter(
            x=x,
            y=y,
            mode="lines",
            line=line,
            showlegend=False,
            xaxis="x2",
            yaxis="y2",
            hovertemplate="%{y:.0f} % where it is moved by %{x:+.0f} ms<extra></extra>",
        )
    )
    side = figure.layout.xaxis.to_plotly_json() | {"domain": [0.7, 1], "anchor": "y2", "range": None}
    side["title"] = side["title"] | {"text": "window moved, ms"}
    up = figure.layout.yaxis.to_plotly_json() | {"anchor": "x2", "title": None, "showticklabels": False}
    # The names of the lines stand between the panels.
    figure.update_layout(xaxis={"domain": [0, 0.45]}, xaxis2=side, yaxis2=up, margin={"r": 12})
    figure.add_shape(
        type="line",
        x0=0,
        x1=0,
        y0=0,
        y1=1,
        xref="x2",
        yref="y2 domain",
        line={"color": theme.accent, "width": 1.2, "dash": "dot"},
    )
    return figure


def players(finding: Finding, theme: Theme) -> go.Figure:
    """Each player's bias with its interval and the spread around it, over today's window."""
    table = finding.tables["players"]
    bias = np.asarray(table["bias_ms"], float)
    order = np.argsort(bias)
    labels = [str(table["player"][i]) for i in order]
    bias, low, high, spread = (
        np.asarray(table[name], float)[order] for name in ("bias_ms", "bias_low", "bias_high", "spread_ms")
    )
    reach = go.Bar(
        y=labels,
        x=2 * spread,
        base=bias - spread,
        orientation="h",
        name="spread (one standard deviation)",
        marker={"color": faded(theme.alive, 0.22)},
        width=0.55,
        hovertemplate="%{y}: scatters by %{customdata:.0f} ms<extra></extra>",
        customdata=spread,
    )
    marks = whiskers(theme, labels, bias, low, high, name=f"bias, {INTERVAL}", colour=theme.alive)
    figure = framed(
        theme, [reach, marks], x="press against due, ms (early < 0 < late)", height=whisker_height(len(labels)) + 24
    )
    figure.add_vline(x=0, line={"color": theme.soft, "width": 1})
    facts, average = finding.facts, finding.estimate
    if average is not None and average.value is not None:
        reference(figure, average.value, theme.alive, "average")
    if np.isfinite(facts.get("early_ms", np.nan)):
        offset = facts.get("offset_ms", 0.0)
        for edge in (offset - facts["early_ms"], offset + facts["late_ms"]):
            reference(figure, edge, theme.hit, "window")
    return figure


def _today(figure: go.Figure, finding: Finding, theme: Theme, names: tuple[str, ...]) -> go.Figure:
    edges: dict[float, list[str]] = {}
    for name in names:
        at = finding.facts.get(name)
        if at is not None and np.isfinite(at):
            edges.setdefault(float(at), []).append(name.removesuffix("_ms"))
    for at, sides in edges.items():
        reference(figure, at, theme.accent, "today" if len(sides) > 1 else f"today, {sides[0]}")
    return figure


def songs(finding: Finding, theme: Theme) -> go.Figure:
    """What the average player would hit in each song."""
    table = finding.tables["songs"]
    return _hit_in_each(theme, [str(name) for name in table["song"]], table)


def passages(finding: Finding, theme: Theme) -> go.Figure:
    """Along each song: what is hit, passage by passage."""
    table = finding.tables["passages"]
    song = np.asarray([str(name) for name in table["song"]])
    start, end, hit, low, high = (
        np.asarray(table[name], float) for name in ("start_s", "end_s", "hit", "hit_low", "hit_high")
    )
    middle = (start + end) / 2
    traces: list[go.Scatter] = []
    for i, name in enumerate(dict.fromkeys(song.tolist())):
        mine = song == name
        colour = theme.series[i % len(theme.series)]
        line = {"color": colour, "width": 2, "dash": theme.dashes[i % len(theme.dashes)]}
        traces += band(middle[mine], 100 * low[mine], 100 * high[mine], colour, name)
        traces.append(
            go.Scatter(x=middle[mine], y=100 * hit[mine], mode="lines", name=name, legendgroup=name, line=line)
        )
    off = np.asarray(table["off"], float) == 1
    if off.any():
        traces.append(
            go.Scatter(
                x=middle[off],
                y=100 * hit[off],
                mode="markers",
                name="notes off the rest of the song",
                marker={"color": theme.ink, "size": 9, "symbol": "x"},
                showlegend=False,
            )
        )
    bottom = 100 * float(np.nanmin(np.append(low, hit))) - 2
    top = min(100 * float(np.nanmax(np.append(high, hit))) + 2, 102.0)
    words = "seconds into the song" + ("<br>cross: notes off the rest of the song" if off.any() else "")
    figure = framed(theme, traces, x=words, y="notes hit, %", height=340, yaxis={"range": [bottom, top]})
    name_ends(figure, ends_of(traces), (bottom, top))
    return figure


def drift(finding: Finding, theme: Theme) -> go.Figure:
    """How the errors of a song drift from its beginning to its end."""
    table = finding.tables["songs"]
    labels = [str(name) for name in table["song"]]
    return interval_rows(theme, labels, table, "ppm", x="drift, millionths", colour=theme.alive, zero=True)


def density(finding: Finding, theme: Theme) -> go.Figure:
    """What is hit, by the time since the note before."""
    table = finding.tables["classes"]
    return interval_steps(
        theme,
        _spans(table),
        table,
        "hit",
        "hit_low",
        "hit_high",
        x="since the note before, ms",
        y="notes hit, %",
        colour=theme.hit,
        scale=100,
    )


def lanes(finding: Finding, theme: Theme) -> go.Figure:
    """What is hit in each lane."""
    table = finding.tables["lanes"]
    return _hit_in_each(theme, [f"lane {int(lane)}" for lane in table["lane"]], table)


def _hit_in_each(theme: Theme, labels: list[str], table: Mapping[str, Any]) -> go.Figure:
    return interval_rows(
        theme,
        labels,
        table,
        "hit",
        "hit_low",
        "hit_high",
        x="notes hit by the average player, %",
        colour=theme.hit,
        scale=100,
    )


def attempts(finding: Finding, theme: Theme) -> go.Figure:
    """What is hit, attempt by attempt, songs and players held fixed."""
    table = finding.tables["attempts"]
    at = [str(int(attempt)) for attempt in table["attempt"]]
    return interval_steps(
        theme, at, table, "hit", "hit_low", "hit_high", x="attempt", y="notes hit, %", colour=theme.hit, scale=100
    )


def latency(finding: Finding, theme: Theme) -> go.Figure:
    """Each capture's mean error: consoles that differ differ in latency."""
    table = finding.tables["captures"]
    labels = [str(name) for name in table["capture"]][::-1]
    bias = np.asarray(table["bias_ms"], float)[::-1]
    bars = go.Bar(x=bias, y=labels, orientation="h", marker={"color": theme.alive}, width=0.5)
    return framed(theme, [bars], x="mean press against due, ms", height=whisker_height(len(labels)) + 20)


def _spans(table: object) -> list[str]:
    spans = []
    for low, high in zip(table["from_ms"], table["to_ms"], strict=True):  # type: ignore[index]
        spans.append(f"{low:.0f} to {high:.0f}" if np.isfinite(float(high)) else f"{low:.0f} and more")
    return spans


def grades(finding: Finding, theme: Theme) -> go.Figure:
    """How often the console gave each of its grades."""
    table = finding.tables["grades"]
    labels = [str(name) for name in table["name"]]
    return interval_rows(theme, labels, table, "share", x="of all verdicts, %", colour=theme.alive, scale=100)
