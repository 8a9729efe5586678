"""The death maps: the console's screen in its own proportions, with one scale of colours for every choice of runs."""

from html import escape
from typing import Any

import numpy as np
import plotly.graph_objects as go

from analysis.finding import Finding
from analysis.findings.deaths.one_death import Place
from analysis.words import amount, counted, span
from dashboard.figures.frame import faded, framed, words_at
from dashboard.figures.palette import Theme

# How strongly a cell is drawn, by the deaths that its time would bring at the rate of the whole screen.
_FADED = ((0.0, 0.3), (0.5, 0.6), (1.5, 1.0))
_WORDS = "deaths a minute there; one scale for every choice<br>pale: little time there"
_WORDS_PX = 76


def places(finding: Finding, theme: Theme) -> go.Figure:
    """The death map: the smoothed rate of death by place, each death as a dot, the hot places framed.

    Cells in which little time was spent are pale. The colours end where those of every map of the game do.
    """
    cells, deaths, facts = finding.tables["cells"], finding.tables["deaths"], finding.facts
    width, height = facts["screen_width"], facts["screen_height"]
    scale = facts["scale_per_min"] if facts.get("exposure") else None
    value = np.asarray(cells["deaths"], float) if scale is None else 60 * np.asarray(cells["smooth_rate"], float)
    hot = np.flatnonzero(np.asarray(cells["hot"], bool))
    columns, rows = np.unique(cells["x_px"]), np.unique(cells["y_px"])
    at = np.searchsorted(rows, cells["y_px"]), np.searchsorted(columns, cells["x_px"])
    told, leads = (np.full((len(rows), len(columns)), "", dtype=object) for _ in range(2))
    told[at], leads[at] = _told(cells), _leads(cells)
    top = float(max(1.0, np.nanmax(value, initial=0.0))) if scale is None else float(scale)
    words = "deaths" if scale is None else _WORDS + ("; framed: more than chance" if hot.size else "")
    bar = {
        "title": {"text": words, "side": "bottom", "font": {"size": 12, "color": theme.soft}},
        "orientation": "h",
        "x": 0,
        "xanchor": "left",
        "y": 0,
        "yanchor": "top",
        "ypad": 6,
        "xpad": 0,
        "thickness": 8,
        "lenmode": "pixels",
        "len": 280,  # no shorter than the words below it
        "outlinewidth": 0,
        "nticks": 4,
    }
    strength = _strength(cells) if scale is not None else np.ones(len(value))
    layers: list[Any] = []
    for _, opacity in _FADED:
        z = np.full(told.shape, np.nan)
        z[at] = np.where(strength == opacity, value, np.nan)
        if opacity == 1 or np.isfinite(z).any():
            layers.append(
                go.Heatmap(
                    x=np.append(columns, width),
                    y=np.append(rows, height),
                    z=z,
                    zmin=0,
                    zmax=top,
                    opacity=opacity,
                    colorscale=[[i / (len(theme.ramp) - 1), colour] for i, colour in enumerate(theme.ramp)],
                    # The strongest layer has the bar: it is there in every map.
                    showscale=opacity == 1,
                    colorbar=bar if opacity == 1 else None,
                    text=told,
                    customdata=leads,
                    hovertemplate="%{text}<extra></extra>",
                    name="rate",
                )
            )
    dots = go.Scatter(
        x=deaths["x"],
        y=deaths["y"],
        mode="markers",
        marker={"size": 4, "color": theme.ink, "opacity": 0.55},
        hoverinfo="skip",
        name="deaths",
    )
    edge = {
        "constrain": "domain",
        "showgrid": False,
        "mirror": True,
        "showline": True,
        "automargin": False,
        "showticklabels": False,
    }
    figure = framed(
        theme,
        [*layers, dots],
        height=400,
        showlegend=False,
        # Fixed margins: automatic ones and a fixed aspect chase each other without end.
        margin={"l": 4, "r": 4, "t": 4, "b": _WORDS_PX},
        xaxis=edge | {"range": [0, width], "constraintoward": "left"},
        yaxis=edge | {"range": [height, 0], "scaleanchor": "x", "constraintoward": "bottom"},
        meta={"opens": "place", "aspect": width / height, "least": 310},
    )
    for i in hot:
        x, y, wide, high = (float(cells[name][i]) for name in ("x_px", "y_px", "width_px", "height_px"))
        _frame(figure, theme, x, y, wide, high)
    if hot.size:
        hottest = cells.iloc[int(hot[np.argmax(np.asarray(cells["score"], float)[hot])])]
        _label(figure, theme, hottest, str(facts["hottest"]), width, height)
    return figure


def _told(cells: Any) -> list[str]:
    """What is said of each cell under the pointer."""
    return [
        f"x {a:.0f} to {a + b:.0f}, y {c:.0f} to {c + d:.0f}<br>"
        f"{counted(int(n), 'death')} of {counted(int(p), 'player')}"
        + (f" in {s:.0f} s" if np.isfinite(s) else "")
        + ("<br>press to see them" if n else "")
        for a, b, c, d, n, p, s in zip(
            cells["x_px"],
            cells["width_px"],
            cells["y_px"],
            cells["height_px"],
            cells["deaths"],
            cells["players"],
            np.asarray(cells["seconds"], float),
            strict=True,
        )
    ]


def _leads(cells: Any) -> list[str]:
    """Pressed, a cell with deaths opens what its words in the address mean (dashboard/web/opened.py)."""
    return [
        f"{a:.0f}-{c:.0f}" if n else "" for a, c, n in zip(cells["x_px"], cells["y_px"], cells["deaths"], strict=True)
    ]


def _strength(cells: Any) -> np.ndarray:
    """(cells,) the opacity of each; what stands out beyond chance is seen whole."""
    seconds, deaths = np.asarray(cells["seconds"], float), float(np.sum(cells["deaths"]))
    expected = seconds * deaths / max(float(np.nansum(seconds)), 1e-9)
    steps = np.array([least for least, _ in _FADED])
    opacity = np.array([strength for _, strength in _FADED])
    drawn = opacity[np.maximum(np.searchsorted(steps, np.nan_to_num(expected), side="right") - 1, 0)]
    return np.where(np.asarray(cells["hot"], bool), 1.0, drawn)


def _frame(figure: go.Figure, theme: Theme, x: float, y: float, width: float, height: float, axes: str = "") -> None:
    figure.add_shape(
        type="rect",
        xref=f"x{axes}",
        yref=f"y{axes}",
        x0=x,
        x1=x + width,
        y0=y,
        y1=y + height,
        line={"color": theme.alive, "width": 2.5},
    )


def _label(figure: go.Figure, theme: Theme, cell: Any, what: str, width: float, height: float) -> None:
    """Says beside the hottest place what makes it hot, towards the middle of the screen."""
    x, y = cell["x_px"] + cell["width_px"] / 2, cell["y_px"] + cell["height_px"] / 2
    lower = y > height / 2
    figure.add_annotation(
        text=f"<b>{_times(cell)}</b><br>{f'{escape(what)}<br>' if what else ''}"
        f"{counted(int(cell['deaths']), 'death')} of {counted(int(cell['players']), 'player')}",
        x=x,
        y=cell["y_px"] if lower else cell["y_px"] + cell["height_px"],
        ax=-16 if x > width / 2 else 16,
        ay=-70 if lower else 70,
        xanchor="right" if x > width / 2 else "left",
        align="right" if x > width / 2 else "left",
        font={"size": 13, "color": theme.ink},
        bgcolor=faded(theme.panel, 0.85),
        borderpad=3,
        showarrow=True,
        arrowhead=0,
        arrowwidth=1,
        arrowcolor=theme.ink,
    )


def _times(cell: Any) -> str:
    """`9.1 times as many as expected`, with its limits: drawn to what most cells have, as the place was picked.

    In two lines, which have room beside the place on a small map too.
    """
    value, low, high = (float(cell[name]) for name in ("times", "times_low", "times_high"))
    return f"{amount(value)} times as many<br>as expected" + (f" ({span(low, high)})" if np.isfinite(low) else "")


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
        margin={"l": 4, "r": 4, "t": 8, "b": 8},
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
            "showticklabels": False,
            "constraintoward": "left",
        }
        figure.update_layout(
            {
                f"xaxis{suffix}": edge | {"domain": [left, right], "anchor": f"y{suffix}", "range": [0, width]},
                f"yaxis{suffix}": edge
                | {"domain": [low, high], "anchor": f"x{suffix}", "range": [height, 0]}
                | {"scaleanchor": f"x{suffix}", "constraintoward": "top"},
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
        words_at(figure, escape(part), left, high + 0.015 / rows, 13, theme.ink)
        for i in mine[np.asarray(cells["hot"], bool)[mine]]:
            x, y = cells["x_px"][i], cells["y_px"][i]
            _frame(figure, theme, x, y, cells["width_px"][i], cells["height_px"][i], suffix)
    return figure
