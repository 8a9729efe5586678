"""Figures on deaths: the console's screen in its own proportions, causes, stages, fairness."""

from html import escape

import numpy as np
import plotly.graph_objects as go

from analysis.finding import Finding
from analysis.findings.deaths.circumstances import AGAIN, RESPAWN, STILL
from analysis.findings.deaths.one_death import Place
from analysis.words import counted
from dashboard.figures.frame import INTERVAL, faded, framed, reference, whisker_height, whiskers
from dashboard.figures.palette import Theme

_FRAMED = "framed: hot, more deaths than chance and the time spent there explain"


def places(finding: Finding, theme: Theme) -> go.Figure:
    """The death map: the smoothed rate of death by place, each death as a dot, the hot places framed."""
    cells, deaths, facts = finding.tables["cells"], finding.tables["deaths"], finding.facts
    width, height = facts["screen_width"], facts["screen_height"]
    x, y, wide, high = (np.asarray(cells[name], float) for name in ("x_px", "y_px", "width_px", "height_px"))
    exposed = bool(facts.get("exposure"))
    value = np.asarray(cells["smooth_rate" if exposed else "deaths"], float) * (60 if exposed else 1)
    hot = np.flatnonzero(np.asarray(cells["hot"], bool))
    columns, rows = np.unique(x), np.unique(y)
    z = np.full((len(rows), len(columns)), np.nan)
    told = np.full((len(rows), len(columns)), "", dtype=object)
    at = np.searchsorted(rows, y), np.searchsorted(columns, x)
    top = float(np.nanmax(value)) if (value > 0).any() else 1.0
    z[at] = value
    told[at] = [
        f"x {a:.0f} to {a + b:.0f}, y {c:.0f} to {c + d:.0f}<br>"
        f"{counted(int(n), 'death')} of {counted(int(p), 'player')}"
        + (f" in {s:.0f} s" if exposed and np.isfinite(s) else "")
        + ("<br>press to see them" if n else "")
        for a, b, c, d, n, p, s in zip(
            x, wide, y, high, cells["deaths"], cells["players"], np.asarray(cells["seconds"], float), strict=True
        )
    ]
    # Pressed, a cell with deaths opens what its words in the address mean (dashboard/web/opened.py).
    leads = np.full(z.shape, "", dtype=object)
    leads[at] = [f"{a:.0f}-{c:.0f}" if n else "" for a, c, n in zip(x, y, np.asarray(cells["deaths"]), strict=True)]
    heat = go.Heatmap(
        x=np.append(columns, width),
        y=np.append(rows, height),
        z=z,
        zmin=0,
        zmax=top,
        colorscale=[[i / (len(theme.ramp) - 1), colour] for i, colour in enumerate(theme.ramp)],
        colorbar={
            "title": {"text": "deaths a minute around there, smoothed" if exposed else "deaths", "side": "right"},
            "thickness": 10,
            "outlinewidth": 0,
            "len": 0.8,  # so that its lower end keeps clear of the words below the map
        },
        text=told,
        customdata=leads,
        hovertemplate="%{text}<extra></extra>",
        name="rate",
    )
    dots = go.Scatter(
        x=deaths["x"],
        y=deaths["y"],
        mode="markers",
        marker={"size": 4, "color": theme.ink, "opacity": 0.55},
        hoverinfo="skip",
        name="deaths",
    )
    edge = {"constrain": "domain", "showgrid": False, "mirror": True, "showline": True, "automargin": False}
    figure = framed(
        theme,
        [heat, dots],
        x="pixels from the left" + (f"<br>{_FRAMED}" if hot.size else ""),
        y="pixels from the top",
        height=420 if hot.size else 400,
        showlegend=False,
        # Fixed margins: automatic ones and a fixed aspect chase each other without end.
        margin={"l": 58, "r": 8, "t": 10, "b": 66 if hot.size else 46},
        xaxis=edge | {"range": [0, width]},
        yaxis=edge | {"range": [height, 0], "scaleanchor": "x"},
        meta={"opens": "place"},
    )
    for i in hot:
        figure.add_shape(
            type="rect",
            x0=x[i],
            x1=x[i] + wide[i],
            y0=y[i],
            y1=y[i] + high[i],
            line={"color": theme.alive, "width": 2.5},
        )
    return figure


def mark_place(figure: go.Figure, place: Place, theme: Theme) -> None:
    """Frames on the map the place whose deaths are listed."""
    corners = {"x0": place.x, "x1": place.x + place.width, "y0": place.y, "y1": place.y + place.height}
    # Two lines, so that one of them is seen against any colour of the map.
    for colour, width in ((theme.panel, 6), (theme.ink, 3)):
        figure.add_shape(type="rect", line={"color": colour, "width": width}, **corners)


def places_apart(finding: Finding, theme: Theme, most_columns: int = 3) -> go.Figure:
    """One small map for each cause or stage: deaths by cell, the dangerous places framed."""
    cells, facts = finding.tables["cells"], finding.facts
    width, height = int(facts["screen_width"]), int(facts["screen_height"])
    name = "name" if "name" in cells else "label"
    parts = [str(part) for part in finding.tables["parts"][name]]
    of = np.asarray([str(part) for part in cells[name]])
    columns = min(most_columns, len(parts))
    rows = -(-len(parts) // columns)
    top = max(1, int(np.max(cells["deaths"])))
    figure = framed(
        theme,
        [],
        height=30 + rows * (250 if columns <= 3 else 150),
        showlegend=False,
        margin={"l": 34, "r": 8, "t": 8, "b": 24},
        meta={"opens": "place"},
    )
    size = int(facts["cell_px"])
    across, down = -(-width // size), -(-height // size)
    for number, part in enumerate(parts):
        column, row, suffix = number % columns, number // columns, str(number + 1) if number else ""
        left, right = (column + 0.02) / columns, (column + 1 - 0.05) / columns
        high, low = 1 - (row + 0.1) / rows, 1 - (row + 0.9) / rows
        edge = {
            "showgrid": False,
            "zeroline": False,
            "mirror": True,
            "showline": True,
            "constrain": "domain",
            "linecolor": theme.rule,
            "ticks": "",
            "nticks": 5 if columns <= 3 else 3,
            "tickfont": {"size": 10, "color": theme.soft},
        }
        figure.update_layout(
            {
                f"xaxis{suffix}": edge | {"domain": [left, right], "anchor": f"y{suffix}", "range": [0, width]},
                f"yaxis{suffix}": edge
                | {"domain": [low, high], "anchor": f"x{suffix}", "range": [height, 0]}
                | {"scaleanchor": f"x{suffix}", "showticklabels": column == 0},
            }
        )
        z = np.full((down, across), np.nan)
        told, leads = np.full((2, *z.shape), "", dtype=object)
        mine = np.flatnonzero(of == part)
        for i in mine:
            at = int(cells["y_px"][i]) // size, int(cells["x_px"][i]) // size
            z[at] = cells["deaths"][i]
            told[at] = counted(int(cells["deaths"][i]), "death")
            # Pressed, it opens the place as the large map does, with its deaths of every cause and stage.
            leads[at] = f"{cells['x_px'][i]:.0f}-{cells['y_px'][i]:.0f}"
        figure.add_trace(
            go.Heatmap(
                x=np.append(np.arange(across) * size, width),
                y=np.append(np.arange(down) * size, height),
                z=z,
                # A single death must be seen against the empty screen.
                zmin=-0.2 * top,
                zmax=top,
                showscale=False,
                xaxis=f"x{suffix}",
                yaxis=f"y{suffix}",
                name=part,
                colorscale=[[k / (len(theme.ramp) - 1), colour] for k, colour in enumerate(theme.ramp)],
                customdata=leads,
                text=told,
                hovertemplate="%{text}<br>press to see all deaths there<extra></extra>",
            )
        )
        figure.add_annotation(
            text=escape(part),
            x=left,
            y=high + 0.015 / rows,
            xref="paper",
            yref="paper",
            xanchor="left",
            yanchor="bottom",
            showarrow=False,
            font={"size": 13, "color": theme.ink},
        )
        for i in mine[np.asarray(cells["hot"], bool)[mine]]:
            x, y = cells["x_px"][i], cells["y_px"][i]
            figure.add_shape(
                type="rect",
                xref=f"x{suffix}",
                yref=f"y{suffix}",
                x0=x,
                x1=x + cells["width_px"][i],
                y0=y,
                y1=y + cells["height_px"][i],
                line={"color": theme.alive, "width": 2.5},
            )
    return figure


def causes(finding: Finding, theme: Theme) -> go.Figure:
    """The share of deaths of each cause, the commonest on top."""
    table = finding.tables["causes"]
    labels = [str(label) for label in table["label"]][::-1]
    share, low, high = (100 * np.asarray(table[name], float)[::-1] for name in ("share", "low", "high"))
    return framed(
        theme,
        [_bars(theme, labels, share, theme.death), whiskers(theme, labels, share, low, high, colour=theme.death)],
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
        xaxis={"rangemode": "tozero"},
    )


def _bars(theme: Theme, labels: list[str], value: np.ndarray, colour: str) -> go.Bar:
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
    marks = (("circle", theme.death), ("square-open", theme.quit), ("diamond-open", theme.alive))
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
        yaxis={"autorange": "reversed"},
        showlegend=True,
        meta={"opens": "death"},
    )


def _age_bin(age: np.ndarray) -> float:
    widest = float(np.nanmax(age)) if np.isfinite(age).any() else 1.0
    return max(10.0, round(widest / 40 / 10) * 10)
