"""Figures on who plays: skill, learning, giving up, ratings."""

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.finding import Finding
from analysis.findings.players.player_ratings import OUTCOMES
from analysis.words import counted, limits, percent
from dashboard.figures.direct_labels import ends_of, name_ends
from dashboard.figures.frame import (
    INTERVAL,
    errors,
    faded,
    framed,
    interval_rows,
    interval_steps,
    whisker_height,
    whiskers,
    words_at,
)
from dashboard.figures.palette import Theme

# Of an attempt: builds stand beside each other.
_BESIDE = 0.12


def skill(finding: Finding, theme: Theme) -> go.Figure:
    """Each player's rate of death, as observed and drawn towards the common rate where the data are thin."""
    table = finding.tables["players"]
    order = np.argsort(-np.asarray(table["own"], float))
    labels = [str(table["player"][i]) for i in order]
    own, low, high, seen = (np.asarray(table[name], float)[order] for name in ("own", "low", "high", "rate_per_min"))
    observed = go.Scatter(
        x=seen,
        y=labels,
        mode="markers",
        name="as observed",
        marker={"symbol": "line-ns-open", "size": 11, "color": theme.ink},
    )
    estimate = whiskers(theme, labels, own, low, high, name=f"estimate, {INTERVAL}", colour=theme.death)
    return framed(
        theme,
        [estimate, observed],
        x="deaths a minute alive",
        height=whisker_height(len(labels)) + 30,
        xaxis={"rangemode": "tozero"},
        showlegend=True,
    )


def learning(finding: Finding, theme: Theme) -> go.Figure:
    """Deaths a minute, attempt by attempt."""
    table = finding.tables["attempts"]
    builds = list(dict.fromkeys(str(build) for build in table["build"]))
    if len(builds) < 2:
        at = [str(int(attempt)) for attempt in table["attempt"]]
        return interval_steps(theme, at, table, "rate_per_min", x="attempt", y="deaths a minute", colour=theme.death)
    mine = [np.asarray(table["build"], str) == build for build in builds]
    attempt, rate, low, high = (np.asarray(table[name], float) for name in ("attempt", "rate_per_min", "low", "high"))
    traces = [
        go.Scatter(
            x=attempt[own] + _BESIDE * (i - (len(builds) - 1) / 2),
            y=rate[own],
            mode="lines+markers",
            name=build,
            line={
                "color": theme.series[i % len(theme.series)],
                "width": 1.5,
                "dash": theme.dashes[i % len(theme.dashes)],
            },
            marker={"size": 8},
            error_y=errors(rate[own], low[own], high[own], theme.series[i % len(theme.series)]),
            hovertemplate=f"attempt %{{x:.0f}}: %{{y:.3g}} a minute<extra>{build}</extra>",
        )
        for i, (build, own) in enumerate(zip(builds, mine, strict=True))
    ]
    top = min(3 * float(np.nanmax(np.append(rate, 0.1))), 1.05 * float(np.nanmax(np.append(high, 0.1))))
    figure = framed(
        theme, traces, x="attempt", y="deaths a minute", height=280, yaxis={"range": [0, top]}, xaxis={"dtick": 1}
    )
    name_ends(figure, ends_of(traces), (0.0, top))
    return figure


def groups(finding: Finding, theme: Theme) -> go.Figure:
    """Newcomers, those who know the game, and the makers."""
    table = finding.tables["groups"]
    labels = [str(name) for name in table["group"]]
    return interval_rows(
        theme,
        labels,
        table,
        "finished",
        "finished_low",
        "finished_high",
        x="runs finished, %",
        colour=theme.hit,
        scale=100,
        limits=(0, 102),
    )


def quits(finding: Finding, theme: Theme) -> go.Figure:
    """Each player's runs with those given up; beside it, how often a death is followed by giving up."""
    who, after = finding.tables["players"].sort_values("quits", kind="stable"), finding.tables["after"]
    labels, given_up = [str(name) for name in who["player"]], who["quits"].to_numpy(int)
    others = who["runs"].to_numpy(int) - given_up
    bars = [
        go.Bar(x=count, y=labels, orientation="h", width=0.6, marker={"color": colour}, name=name, hovertemplate=hover)
        for name, count, colour, hover in (
            ("given up", given_up, theme.quit, "%{y}: %{x} given up<extra></extra>"),
            ("other runs", others, faded(theme.soft, 0.3), "%{y}: %{x} not given up<extra></extra>"),
        )
    ]
    height = max(whisker_height(len(labels)), 280)
    figure = framed(theme, bars, x="runs", height=height, showlegend=False, barmode="stack", xaxis={"nticks": 6})
    share = finding.estimate
    if share is not None and share.value is not None:
        figure.update_layout(margin={"t": 36})
        said = f"coloured: given up, {percent(share.value)} of {counted(finding.runs, 'run')}<br>{limits(share)}"
        words_at(figure, said, 0, 1, 12, theme.quit, xanchor="left", align="left")
    return _after_deaths(figure, after, theme) if np.isfinite(after["share"].to_numpy(float)).any() else figure


def _after_deaths(figure: go.Figure, after: pd.DataFrame, theme: Theme) -> go.Figure:
    share, low, high = (100 * after[name].to_numpy(float) for name in ("share", "low", "high"))
    marks = go.Scatter(
        x=[str(number) for number in after["deaths_in_row"]],
        y=share,
        mode="markers",
        marker={"color": theme.quit, "size": 9},
        error_y=errors(share, low, high, theme.quit),
        xaxis="x2",
        yaxis="y2",
        hovertemplate="%{y:.0f} %<extra></extra>",
    )
    figure.add_trace(marks)
    side = figure.layout.xaxis.to_plotly_json() | {"domain": [0.64, 1], "anchor": "y2", "type": "category"}
    side["title"] = side["title"] | {"text": "deaths in a row at one stage"}
    up = figure.layout.yaxis.to_plotly_json() | {"anchor": "x2", "rangemode": "tozero"}
    up["title"] = up["title"] | {"text": f"then given up, % ({INTERVAL})"}
    figure.update_layout(xaxis={"domain": [0, 0.5]}, xaxis2=side, yaxis2=up)
    return figure


def ratings(finding: Finding, theme: Theme) -> go.Figure:
    """What goes with a good rating."""
    table = finding.tables["outcomes"]
    labels = [OUTCOMES[str(name)] for name in table["outcome"]]
    return interval_rows(
        theme,
        labels,
        table,
        "rank_correlation",
        x="rank correlation with the rating",
        colour=theme.alive,
        zero=True,
        limits=(-1.05, 1.05),
    )


def bounce(finding: Finding, theme: Theme) -> go.Figure:
    """Presses that are the bouncing of a contact."""
    table = finding.tables["buttons"]
    labels = [f"button {int(lane)}" if np.isfinite(float(lane)) else "buttons" for lane in table["lane"]]
    return interval_rows(theme, labels, table, "share", x="presses that are bounces, %", colour=theme.alive, scale=100)
