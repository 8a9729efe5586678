"""The figure of the live page: the last runs as they come in."""

import numpy as np
import plotly.graph_objects as go

from analysis.reader import Columns
from dashboard.figures.frame import framed
from dashboard.figures.palette import Theme

# How a run ended -> its words.
ENDINGS = {"finished": "finished", "game_over": "game over", "quit": "quit", "cut": "cut or going on"}
_COLOURS = {"finished": "hit", "game_over": "death", "quit": "quit", "cut": "soft"}


def recent_runs(runs: Columns, theme: Theme) -> go.Figure:
    """Seconds alive of each run, the newest at the right, coloured by how it ended."""
    count = len(runs["run_id"])
    place = np.arange(count)[::-1]
    ending = np.asarray(runs["ending"])
    traces = []
    for key, name in ENDINGS.items():
        mine = ending == key
        told = [f"{p}, {g}" for p, g in zip(runs["player"][mine], runs["game"][mine], strict=True)]
        traces.append(
            go.Bar(
                x=place[mine],
                y=runs["alive_s"][mine],
                width=0.75,
                name=name,
                text=told,
                marker={"color": getattr(theme, _COLOURS[key])},
                textposition="none",
                hovertemplate="%{text}: %{y:.1f} s<extra>" + name + "</extra>",
            )
        )
    players = [str(player) for player in runs["player"]][::-1]
    # Who plays several runs in a row is named at the first of them.
    labels = [player if at == 0 or player != players[at - 1] else "" for at, player in enumerate(players)]
    return framed(
        theme,
        traces,
        x="run, the newest at the right",
        y="seconds alive",
        height=260,
        barmode="overlay",
        xaxis={
            "tickmode": "array",
            "tickvals": list(range(count)),
            "ticktext": labels,
            "range": [-0.6, max(count, 12) - 0.4],
        },
    )
