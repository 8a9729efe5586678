"""Figures of what belongs to one kind of game alone: bosses and tiers, falling blocks, single shots."""

import numpy as np
import plotly.graph_objects as go

from analysis.finding import Finding
from dashboard.figures.direct_labels import ends_of, name_ends
from dashboard.figures.frame import band, errors, framed, interval_rows, interval_steps, stepped, whisker_height
from dashboard.figures.palette import Theme


def boss(finding: Finding, theme: Theme) -> go.Figure:
    """How many times as often the same player dies at the boss."""
    table = finding.tables["kinds"]
    labels = [f"stage {int(stage)}" for stage in table["stage"]]
    figure = interval_rows(
        theme, labels, table, "ratio", x="times as many deaths a minute as in the regular part", colour=theme.death
    )
    figure.add_vline(x=1, line={"color": theme.soft, "width": 1})
    return figure


def tiers(finding: Finding, theme: Theme) -> go.Figure:
    """Deaths a minute with each weapon tier."""
    table = finding.tables["tiers"]
    at = [f"tier {int(tier)}" for tier in table["tier"]]
    return interval_steps(
        theme, at, table, "rate_per_min", x="weapon tier", y="deaths a minute alive", colour=theme.death
    )


def levels(finding: Finding, theme: Theme) -> go.Figure:
    """Deaths a minute against the time a block takes for one row, each build with its own mark; against the level where
    the log tells one time for all: the game makes blocks faster by itself then.
    """
    table = finding.tables["levels"]
    build = np.asarray([str(name) for name in table["build"]])
    x, y, low, high = (np.asarray(table[name], float) for name in ("interval_ms", "rate_per_min", "low", "high"))
    level = np.asarray(table["level"], float)
    by_level = np.unique(x[np.isfinite(x)]).size < 2
    across = level if by_level else x
    traces = []
    for i, name in enumerate(dict.fromkeys(build.tolist())):
        mine = build == name
        colour = theme.series[i % len(theme.series)]
        traces.append(
            go.Scatter(
                x=across[mine],
                y=y[mine],
                mode="markers",
                name=name,
                text=[f"level {int(n)}" for n in level[mine]],
                customdata=x[mine],
                marker={"color": colour, "size": 9, "symbol": ("circle", "diamond", "square")[i % 3]},
                error_y=errors(y[mine], low[mine], high[mine], colour),
                hovertemplate="%{text}: %{y:.2g} a minute at %{customdata:.0f} ms<extra></extra>",
            )
        )
    top = float(np.nanmax(np.append(y, 0.1))) * 1.8
    title = "level" if by_level else "time a block takes for one row, ms"
    figure = framed(theme, traces, x=title, y="deaths a minute", yaxis={"range": [0, top]})
    if len(traces) > 1:
        name_ends(figure, ends_of(traces), (0.0, top))
    return figure


def overflow(finding: Finding, theme: Theme) -> go.Figure:
    """Where pieces come to rest, and where the pile overflows."""
    table = finding.tables["columns"]
    x = np.asarray(table["x_px"], float)
    traces = []
    for name, label, colour in (
        ("pieces", "pieces at rest", theme.soft),
        ("overflows", "runs that overflowed here", theme.death),
    ):
        count = np.asarray(table[name], float)
        traces.append(go.Bar(x=x, y=100 * count / max(count.sum(), 1), name=label, marker={"color": colour}))
    return framed(theme, traces, x="pixels from the left", y="share, %", showlegend=True, barmode="group")


def longest_wait(finding: Finding, theme: Theme) -> go.Figure:
    """The share of each piece."""
    table = finding.tables["pieces"]
    labels = [str(name) for name in table["label"]][::-1]
    share = 100 * np.asarray(table["share"], float)[::-1]
    figure = framed(
        theme,
        [go.Bar(x=share, y=labels, orientation="h", marker={"color": theme.alive}, width=0.6)],
        x="of all pieces, %",
        height=whisker_height(len(labels)) + 20,
        showlegend=False,
    )
    figure.add_vline(x=100 / max(len(labels), 1), line={"color": theme.soft, "width": 1.2, "dash": "dot"})
    return figure


def pace(finding: Finding, theme: Theme) -> go.Figure:
    """Seconds a piece takes, level by level."""
    table = finding.tables["levels"]
    at = [str(int(level)) for level in table["level"]]
    return interval_steps(theme, at, table, "seconds", x="level", y="seconds a piece", colour=theme.alive)


def streaks(finding: Finding, theme: Theme) -> go.Figure:
    """The share of streaks that are still without a miss."""
    table = finding.tables["curve"]
    time, share, low, high = (np.asarray(table[name], float) for name in ("time", "surviving", "low", "high"))
    traces = stepped(time, 100 * share, 100 * low, 100 * high, theme.hit, "without a miss")
    return framed(theme, traces, x="shots", y="without a miss so far, %", yaxis={"range": [0, 102]}, showlegend=False)


def aim(finding: Finding, theme: Theme) -> go.Figure:
    """The chance of a hit against the target's speed: what was seen, and the curve where one could be fitted."""
    curve, seen = finding.tables.get("curve", {}), finding.tables["speeds"]
    x, chance, low, high = (np.asarray(curve.get(name, ()), float) for name in ("speed", "chance", "low", "high"))
    at, share, below, above = (np.asarray(seen[name], float) for name in ("speed", "share", "low", "high"))
    traces = [
        *band(x, 100 * low, 100 * high, theme.hit, "fit"),
        go.Scatter(x=x, y=100 * chance, mode="lines", name="fitted", line={"color": theme.hit, "width": 2}),
        go.Scatter(
            x=at,
            y=100 * share,
            mode="markers",
            name="seen",
            marker={"color": theme.ink, "size": 7},
            error_y=errors(100 * share, 100 * below, 100 * above, theme.ink),
        ),
    ]
    figure = framed(theme, traces, x="speed of the target", y="hit, %", yaxis={"range": [0, 102]})
    name_ends(figure, ends_of(traces), (0.0, 102.0))
    return figure


def intervals(finding: Finding, theme: Theme) -> go.Figure:
    """Steadiness of each player's timing against what they hit."""
    table = finding.tables["players"]
    dots = go.Scatter(
        x=100 * np.asarray(table["variation"], float),
        y=100 * np.asarray(table["hit_share"], float),
        mode="markers",
        text=[str(player) for player in table["player"]],
        hovertemplate="%{text}<extra></extra>",
        marker={"color": theme.alive, "size": 9},
        showlegend=False,
    )
    return framed(theme, [dots], x="variation of the time between shots, % of its mean", y="hit, %")
