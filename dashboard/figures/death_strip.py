"""The last seconds before one death on one strip of time: where the player was, what was fired, what was done."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import plotly.graph_objects as go

from analysis.finding import Finding
from dashboard.figures.frame import faded, framed, words_at
from dashboard.figures.palette import Theme

_ROOM_S = 0.5  # nothing is drawn after the death; its name needs room
# In pixels: a panel with a curve, a row of marks, the gaps between panels; the edges, with a line of text more where
# one is needed.
_CURVE, _ROW, _GAP = 86, 23, 14
_TOP, _LABEL, _BOTTOM, _LINE, _LEFT, _RIGHT = 28, 16, 46, 15, 132, 24


@dataclass(frozen=True)
class _Kind:
    """A row of marks: which events, under what name, in which colour and shape."""

    what: str
    name: str
    colour: str
    symbol: str
    value: float | None = None  # only events with this value; NaN: only those without any


_KINDS = (
    _Kind("enemy_shot", "enemy shots, aimed", "ink", "diamond", 1.0),
    _Kind("enemy_shot", "enemy shots, other", "ink", "diamond-open", 0.0),
    _Kind("enemy_shot", "enemy shots", "ink", "diamond", np.nan),
    _Kind("shot", "own shots", "alive", "triangle-up"),
    _Kind("hit", "own hits", "alive", "star"),
    _Kind("pickup", "pick-ups", "hit", "circle"),
    _Kind("note", "notes due", "soft", "circle-open"),
    _Kind("press", "presses", "ink", "line-ns-open"),
    _Kind("landed", "landed pieces", "alive", "square"),
    _Kind("rows", "rows cleared", "hit", "square"),
    _Kind("slow_frame", "slow frames", "soft", "hourglass"),
)


def strip(finding: Finding, theme: Theme) -> go.Figure:
    """Panels over one axis of time: position, input, and a row of marks for each kind of event that was logged."""
    events = {name: np.asarray(column) for name, column in finding.tables["events"].items()}
    facts = finding.facts
    curves = [
        *_positions(events, theme, "x", "x, pixels", float(facts["screen_width"])),
        *_positions(events, theme, "y", "y, pixels", float(facts["screen_height"])),
        *_inputs(events, theme),
    ]
    marks = [(kind, mine) for kind in _KINDS if (mine := _of(events, kind)).any()]
    panels = [_CURVE] * len(curves) + ([_ROW * len(marks)] if marks else [])
    inside = sum(panels) + _GAP * max(len(panels) - 1, 0) if panels else _ROW
    back, spawn, shot = -facts["seconds"], facts["spawn_s"], facts["shot_s"]
    words = "seconds from the death"
    above, below = _TOP + (_LABEL if spawn >= back else 0), _BOTTOM
    if shot is not None and shot >= back:
        reaction_ms, shaded_ms = 1e3 * facts["reaction_s"], -1e3 * shot
        words += (
            f"<br>shaded: {reaction_ms:.0f} ms, a simple reaction to the killing shot"
            if shaded_ms >= reaction_ms
            else f"<br>shaded: {shaded_ms:.0f} ms from the killing shot to the death; a simple reaction takes "
            f"{reaction_ms:.0f} ms"
        )
        below += _LINE
    figure = framed(
        theme,
        [],
        x=words,
        height=inside + above + below,
        showlegend=False,
        hovermode="closest",
        margin={"l": _LEFT, "r": _RIGHT, "t": above, "b": below},
        xaxis={"range": [back - 0.05, _ROOM_S], "dtick": 1, "anchor": "free", "position": 0},
    )
    top = 0
    for number, ((traces, axis), height) in enumerate(
        zip([*curves, _rows(events, marks, theme)], panels, strict=False)
    ):
        name = f"y{number + 1 if number else ''}"
        place = {"domain": [1 - (top + height) / inside, 1 - top / inside], "anchor": "x", "automargin": False}
        figure.update_layout({f"yaxis{name[1:]}": _axis(theme) | place | axis})
        figure.add_traces([trace.update(yaxis=name) for trace in traces])
        top += height + _GAP
    _moments(figure, finding, theme)
    return figure


def _axis(theme: Theme) -> dict[str, Any]:
    return {
        "gridcolor": theme.rule,
        "zeroline": False,
        "showline": True,
        "linecolor": theme.rule,
        "ticks": "",
        "tickfont": {"size": 11, "color": theme.soft},
    }


def _of(events: dict[str, np.ndarray], kind: _Kind) -> np.ndarray:
    mine = events["what"] == kind.what
    if kind.value is None:
        return mine
    value = events["value"].astype(float)
    if np.isnan(kind.value):
        return mine & np.isnan(value)
    # Whatever is not aimed (or is, in a game's own degrees) goes to one of two rows.
    return mine & np.isfinite(value) & ((value == 1.0) == (kind.value == 1.0))


def _title(text: str, theme: Theme) -> dict[str, Any]:
    return {"text": text, "font": {"size": 12, "color": theme.soft}, "standoff": 8}


def _positions(
    events: dict[str, np.ndarray], theme: Theme, axis: str, title: str, screen: float
) -> list[tuple[list[Any], dict[str, Any]]]:
    """The panel of one coordinate; [] without positions."""
    at, place = events["before_s"].astype(float), events[axis].astype(float)
    seen = (events["what"] == "position") & np.isfinite(place)
    if not seen.any():
        return []
    died = (events["what"] == "death") & np.isfinite(place)
    on_way = np.flatnonzero(seen | died)
    time, way = at[on_way], place[on_way]
    # The way ends at a death; what follows is another life, at another place.
    ends = np.flatnonzero(died[on_way]) + 1
    time, way = np.insert(time, ends, np.nan), np.insert(way, ends, np.nan)
    line = go.Scatter(
        x=time,
        y=way,
        mode="lines+markers",
        line={"color": theme.alive, "width": 2},
        marker={"size": 4, "color": theme.alive},
        connectgaps=False,
        hovertemplate="%{y:.0f} px, %{x:.2f} s<extra>player</extra>",
    )
    cross = go.Scatter(
        x=at[died],
        y=place[died],
        mode="markers",
        hovertemplate="%{y:.0f} px<extra>death</extra>",
        marker={"size": 10, "symbol": "x", "color": theme.death, "line": {"color": theme.panel, "width": 1}},
    )
    low, high = float(np.nanmin(way)), float(np.nanmax(way))
    # At least a quarter of the screen, so that a step does not look like a journey.
    half = max((high - low) * 0.62, screen / 8)
    ends_at = [(low + high) / 2 - half, (low + high) / 2 + half]
    return [
        (
            [line, cross],
            {"range": ends_at[::-1] if axis == "y" else ends_at, "nticks": 5, "title": _title(title, theme)},
        )
    ]


def _inputs(events: dict[str, np.ndarray], theme: Theme) -> list[tuple[list[Any], dict[str, Any]]]:
    """The raw inputs, a curve each; [] where none was logged."""
    value = events["value"].astype(float)
    mine = (events["what"] == "input") & np.isfinite(value)
    if not mine.any():
        return []
    lane = np.nan_to_num(events["lane"].astype(float))
    traces = []
    for number, one in enumerate(np.unique(lane[mine])):
        own = mine & (lane == one)
        traces.append(
            go.Scatter(
                x=events["before_s"][own],
                y=value[own],
                mode="lines+markers",
                line={"color": theme.ink, "width": 1.4, "dash": theme.dashes[number % len(theme.dashes)]},
                marker={"size": 5, "color": theme.ink},
                hovertemplate=f"%{{y}}, %{{x:.2f}} s<extra>input {one:.0f}</extra>",
            )
        )
    return [(traces, {"nticks": 4, "title": _title("input, raw", theme)})]


def _rows(
    events: dict[str, np.ndarray], marks: list[tuple[_Kind, np.ndarray]], theme: Theme
) -> tuple[list[Any], dict[str, Any]]:
    """One row of marks a kind, the first on top."""
    traces = []
    for row, (kind, mine) in enumerate(marks):
        colour = getattr(theme, kind.colour)
        traces.append(
            go.Scatter(
                x=events["before_s"][mine],
                y=np.full(int(mine.sum()), row),
                mode="markers",
                marker={"symbol": kind.symbol, "size": 9, "color": colour, "line": {"width": 1.6, "color": colour}},
                hovertemplate=f"%{{x:.2f}} s<extra>{kind.name}</extra>",
            )
        )
    return traces, {
        "range": [len(marks) - 0.5, -0.5],
        "tickmode": "array",
        "tickvals": list(range(len(marks))),
        "ticktext": [kind.name for kind, _ in marks],
        "tickfont": {"size": 12, "color": theme.ink},
    }


def _moments(figure: go.Figure, finding: Finding, theme: Theme) -> None:
    """The lines through all panels: the death, the killing shot's firing, the life's beginning."""
    facts = finding.facts
    shot, spawn, back = facts["shot_s"], facts["spawn_s"], -facts["seconds"]

    def moment(at: float, words: str, colour: str, dash: str, side: str, tier: int = 0) -> None:
        figure.add_shape(
            type="line", x0=at, x1=at, y0=0, y1=1, yref="paper", line={"color": colour, "width": 1.8, "dash": dash}
        )
        words_at(figure, words, at, 1, 12, colour, xref="x", xanchor=side, yshift=2 + _LABEL * tier)

    if shot is not None and shot >= back:
        figure.add_shape(
            type="rect",
            x0=shot,
            x1=min(shot + facts["reaction_s"], 0.0),
            y0=0,
            y1=1,
            yref="paper",
            layer="below",
            line={"width": 0},
            fillcolor=faded(theme.ink, 0.1),
        )
        moment(shot, "killing shot fired", theme.ink, "dot", "right")
    if spawn >= back:
        moment(spawn, "respawn" if facts["life"] > 1 else "start", theme.alive, "dot", "center", tier=1)
    moment(0.0, "death", theme.death, "solid", "left")
