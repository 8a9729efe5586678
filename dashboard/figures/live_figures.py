"""The figure of the live page: the last runs as they come in."""

import numpy as np
import plotly.graph_objects as go

from analysis.reader import Columns
from dashboard.figures.frame import framed
from dashboard.figures.palette import Theme

_ENDINGS = (
    ("finished", "finished", "hit"),
    ("game_over", "game over", "death"),
    ("quit", "quit", "quit"),
    ("cut", "cut or going on", "soft"),
)


def recent_runs(runs: Columns, theme: Theme) -> go.Figure:
    """Seconds alive of each run, the newest at the right, coloured by how it ended."""
    count = len(runs["run_id"])
    place = np.arange(count)[::-1]
    ending = np.asarray(runs["ending"])
    traces = []
    for key, name, colour in _ENDINGS:
        mine = ending == key
        told = [f"{p}, {g}" for p, g in zip(runs["player"][mine], runs["game"][mine], strict=True)]
        traces.append(
            go.Bar(
                x=place[mine],
                y=runs["alive_s"][mine],
                width=0.75,
                name=name,
                text=told,
                marker={"color": getattr(theme, colour)},
                textposition="none",
                hovertemplate="%{text}: %{y:.1f} s<extra>" + name + "</extra>",
            )
        )
    labels = [str(player) for player in runs["player"]][::-1]
    return framed(
        theme,
        traces,
        x="run, the newest at the right",
        y="seconds alive",
        height=300,
        barmode="overlay",
        xaxis={
            "tickmode": "array",
            "tickvals": list(range(count)),
            "ticktext": labels,
            "range": [-0.6, max(count, 12) - 0.4],
        },
    )
