"""Figures on deaths: causes, stages, fairness, circumstances."""

import numpy as np
import plotly.graph_objects as go

from analysis.finding import Finding
from analysis.findings.deaths.circumstances import AGAIN, RESPAWN, STILL
from dashboard.figures.frame import INTERVAL, faded, framed, readable, reference, whisker_height, whiskers
from dashboard.figures.palette import Theme


def causes(finding: Finding, theme: Theme) -> go.Figure:
    """The share of deaths of each cause, the commonest on top."""
    table = finding.tables["causes"]
    labels = [str(label) for label in table["label"]][::-1]
    share, low, high = (100 * np.asarray(table[name], float)[::-1] for name in ("share", "low", "high"))
    return framed(
        theme,
        [_bars(labels, share, theme.death), whiskers(theme, labels, share, low, high, colour=theme.death)],
        x=f"of all deaths, % ({INTERVAL})",
        height=whisker_height(len(labels)) + 40,
        showlegend=False,
        xaxis={"rangemode": "tozero"},
    )


def by_stage(finding: Finding, theme: Theme) -> go.Figure:
    """Deaths a minute alive in each stage, the first on top."""
    table = finding.tables["segments"]
    labels = [str(name) for name in table["name"]][::-1]
    rate, low, high = (np.asarray(table[name], float)[::-1] for name in ("rate_per_min", "low", "high"))
    return framed(
        theme,
        [whiskers(theme, labels, rate, low, high, colour=theme.death)],
        x=f"deaths a minute alive ({INTERVAL})",
        height=whisker_height(len(labels)) + 30,
        xaxis={"rangemode": "tozero", **readable(rate, low, high)},
    )


def _bars(labels: list[str], value: np.ndarray, colour: str) -> go.Bar:
    return go.Bar(
        x=value,
        y=labels,
        orientation="h",
        marker={"color": faded(colour, 0.25)},
        width=0.6,
        hoverinfo="skip",
        showlegend=False,
    )


def fairness(finding: Finding, theme: Theme) -> go.Figure:
    """How old the killing shots were, with what a human reaction takes."""
    age = np.asarray(finding.tables["ages"]["age_ms"], float)
    bars = go.Histogram(
        x=age, xbins={"start": 0, "size": _age_bin(age)}, marker={"color": theme.death}, name="deaths", showlegend=False
    )
    figure = framed(
        theme, [bars], x="age of the killing shot, ms", y="deaths", bargap=0.05, xaxis={"rangemode": "tozero"}
    )
    facts = finding.facts
    for name, label in (("nobody_reacts_ms", "nobody reacts"), ("simple_reaction_ms", "simple reaction")):
        if facts.get(name) is not None:
            reference(figure, float(facts[name]), theme.ink, label)
    # The words may stand on a bar.
    figure.update_annotations(bgcolor=faded(theme.panel, 0.85), borderpad=1)
    return figure


def circumstances(finding: Finding, theme: Theme) -> go.Figure:
    """The places of the deaths in question. Pressed, a dot opens the last seconds before it (web/opened.py)."""
    table = finding.tables["deaths"].dropna(subset=["x", "y"])
    marks = (("circle", theme.death), ("square-open", theme.ink), ("diamond-open", theme.alive))
    dots = []
    # Each keeps its mark where another is missing.
    for name, (symbol, colour) in zip((AGAIN, RESPAWN, STILL), marks, strict=True):
        mine = table[table["circumstance"] == name]
        if mine.empty:
            continue
        dots.append(
            go.Scatter(
                x=mine["x"],
                y=mine["y"],
                mode="markers",
                name=name,
                marker={"size": 7 if symbol == "circle" else 10, "symbol": symbol, "color": colour, "opacity": 0.7},
                customdata=[f"{run}-{life}" for run, life in zip(mine["run_id"], mine["life"], strict=True)],
                text=[f"{player}, life {life}" for player, life in zip(mine["player"], mine["life"], strict=True)],
                hovertemplate="%{text}<br>press to see its last seconds<extra></extra>",
            )
        )
    return framed(
        theme,
        dots,
        x="pixels from the left",
        y="pixels from the top",
        height=280,
        # Pixels are square; fixed margins, for automatic ones and a fixed aspect chase each other without end.
        margin={"l": 46, "r": 8, "t": 30, "b": 40},
        xaxis={"constrain": "domain", "automargin": False},
        yaxis={"autorange": "reversed", "scaleanchor": "x", "constrain": "domain", "automargin": False},
        showlegend=True,
        meta={"opens": "death"},
    )


def _age_bin(age: np.ndarray) -> float:
    widest = float(np.nanmax(age)) if np.isfinite(age).any() else 1.0
    return max(10.0, round(widest / 40 / 10) * 10)
