"""Figures that compare: two builds of a game, and the games of a class."""

from html import escape

import numpy as np
import plotly.graph_objects as go

from analysis.finding import Finding
from analysis.words import counted
from dashboard.figures.before_after import Row, before_after
from dashboard.figures.frame import INTERVAL, faded, framed, interval_rows, whisker_height, whiskers, words_at
from dashboard.figures.palette import Theme

# Of the whole: lines of one and the same course lie beside each other. In pixels: the figure with lines of players,
# its axis with its title, two lines of words below.
_SPREAD, _HEIGHT, _AXIS, _NOTE = 0.05, 250, 48, 34


def progress(finding: Finding, theme: Theme) -> go.Figure | None:
    """The difference between two builds with its interval; beside it each player who is known on both, as a line."""
    estimate = finding.estimate
    if estimate is None or estimate.value is None:
        return None
    factor, unit = (100, "points") if estimate.unit == "share" else (1, estimate.unit)
    before, after = (str(label) for label in finding.tables["builds"]["build"])
    table = {
        "value": [factor * estimate.value],
        "low": [np.nan if estimate.low is None else factor * estimate.low],
        "high": [np.nan if estimate.high is None else factor * estimate.high],
    }
    words = f"difference, {unit} ({INTERVAL})"
    players, figures = finding.tables["players"], factor * np.asarray(finding.tables["builds"]["figure"], float)
    if not len(players):
        label = f"{after} against {before}"
        figure = interval_rows(theme, [label], table, "value", x=words, colour=theme.alive, zero=True)
        return _noted(figure, theme, "no lines of players: nobody<br>is known to have played both")
    lines = _lines(factor * players[["before", "after"]].to_numpy(float), [str(p) for p in players["player"]], theme)
    blue = {"color": theme.alive}
    whole = go.Scatter(x=[0, 1], y=figures, mode="lines+markers", line=blue | {"width": 3}, marker={"size": 9})
    apart = whiskers(theme, [""], *table.values(), colour=theme.alive).update(xaxis="x2", yaxis="y2")
    figure = framed(
        theme,
        [*lines, whole, apart],
        y="%" if factor == 100 else unit,
        height=_HEIGHT,
        showlegend=False,
        xaxis={"domain": [0, 0.52], "tickvals": [0, 1], "ticktext": [escape(before), escape(after)]}
        | {"range": [-0.2, 1.2], "showgrid": False},
        yaxis={"range": [-4, 104]} if factor == 100 else {"rangemode": "tozero"},
    )
    side = figure.layout.xaxis.to_plotly_json() | {"domain": [0.62, 1], "anchor": "y2", "showgrid": True}
    side |= {"tickvals": None, "ticktext": None, "range": None, "rangemode": "tozero", "nticks": 5}
    side["title"] = side["title"] | {"text": words.replace(" (", "<br>(")}
    figure.update_layout(xaxis2=side, yaxis2={"anchor": "x2", "visible": False})
    of_all = f"thick: all; thin: the {counted(len(players), 'player')} known on both builds.<br>Others have no line."
    once = "" if finding.facts["how"] in ("within", "orders") else " In the difference each counts once."
    return _noted(figure, theme, of_all + once)


def _noted(figure: go.Figure, theme: Theme, words: str) -> go.Figure:
    """With words below the axes, for which there is room in figures beside the answer too."""
    height = int(figure.layout.height) + _NOTE
    figure.update_layout(height=height, margin={"b": _NOTE + _AXIS}, meta={"least": height})
    figure.update_xaxes(automargin=False)
    words_at(figure, words, 0, 0, 11, theme.soft, yshift=-_AXIS, yanchor="top", align="left")
    return figure


def _lines(values: np.ndarray, players: list[str], theme: Theme) -> list[go.Scatter]:
    """A thin line a player. Those of one course, as of yes and no, are spread evenly around it."""
    spread = _SPREAD * max(float(np.ptp(values)), 1e-9)
    traces = []
    for course in np.unique(values, axis=0):
        alike = np.flatnonzero((values == course).all(axis=1))
        for i, player in zip(np.linspace(-1, 1, len(alike)) if len(alike) > 1 else [0.0], alike, strict=True):
            traces.append(
                go.Scatter(
                    x=[0, 1],
                    y=course + i * spread,
                    mode="lines",
                    line={"color": faded(theme.soft, 0.55), "width": 1},
                    hovertemplate=f"{escape(players[player])}: {course[0]:.3g} to {course[1]:.3g}<extra></extra>",
                )
            )
    return traces


def verdict(finding: Finding, theme: Theme) -> go.Figure | None:
    """Each target on the earlier build, on the later one and as it was wanted, on one scale for all shares."""
    known = finding.tables["targets"].dropna(subset=["before", "after"])
    shown = [
        Row(
            str(one["target"]),
            str(one["unit"]),
            float(one["before"]),
            float(one["after"]),
            seen=float(one["expected"]) if np.isfinite(one["expected"]) else None,
            seen_as="expected without a change",
            wanted=(float(one["wanted"]), float(one["tolerance"])) if np.isfinite(one["wanted"]) else None,
        )
        for one in known.astype({"expected": float, "wanted": float, "tolerance": float}).to_dict("records")
    ]
    return before_after(shown, theme, column=True) if shown else None


def games(finding: Finding, theme: Theme) -> go.Figure:
    """Each game's figure with its interval, the highest on top."""
    table = finding.tables["games"]
    labels = [str(game) for game in table["game"]][::-1]
    factor = 100 if finding.facts["unit"] == "share" else 1
    unit = "%" if factor == 100 else str(finding.facts["unit"])
    value, low, high = (factor * np.array(table[name], float)[::-1] for name in ("value", "low", "high"))
    marks = whiskers(theme, labels, value, low, high, colour=theme.alive)
    return framed(
        theme,
        [marks],
        x=f"{finding.title.lower()}, {unit}",
        height=whisker_height(len(labels)) + 20,
        xaxis={"rangemode": "tozero"},
    )
