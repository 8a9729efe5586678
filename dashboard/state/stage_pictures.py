"""Pictures of stages that lie under the death map: PNG files in a folder of the user's, named by game and stage."""

import base64
import re
from pathlib import Path

import plotly.graph_objects as go

from analysis.selection import Selection
from dashboard.figures.frame import faded

# A console's screen is small; what is larger than this is no picture of one.
LARGEST_BYTES = 256 * 1024
_LARGEST_SIDE = 2048
_SIGNATURE = b"\x89PNG\r\n\x1a\n"
# How far the cells cover the picture, and from which share of the highest rate on.
_MOST_OPACITY, _COVERS_FROM = 0.85, 0.4


class StagePictures:
    """The pictures of one folder, looked for anew at each drawing; None: no folder."""

    def __init__(self, folder: Path | None = None):
        self.folder = folder

    def lay_under(self, figure: go.Figure, selection: Selection) -> go.Figure:
        """Puts the picture of the selected stage, if there is one, under the map; its axes count pixels."""
        source = self.source(selection)
        if source is None:
            return figure
        (_, width), (height, _) = figure.layout.xaxis.range, figure.layout.yaxis.range
        figure.add_layout_image(
            source=source,
            xref="x",
            yref="y",
            x=0,
            y=0,
            sizex=width,
            sizey=height,
            sizing="stretch",
            xanchor="left",
            yanchor="top",
            layer="below",
        )
        # The picture is seen where few die; the more do, the more of it the cell covers.
        for heat in figure.select_traces(selector={"type": "heatmap"}):
            heat.colorscale = [
                [at, faded(colour, _MOST_OPACITY * min(1.0, at / _COVERS_FROM))] for at, colour in heat.colorscale
            ]
        return figure

    def source(self, selection: Selection) -> str | None:
        """The picture as a data address, or None where there is no sound one."""
        for name in names(selection):
            found = None if self.folder is None else _png(self.folder / name)
            if found is not None:
                return "data:image/png;base64," + base64.b64encode(found).decode("ascii")
        return None


def names(selection: Selection) -> list[str]:
    """The files that may hold the picture, the first that is there counts: `my_game-2-boss.png`, `my_game-2.png`,
    `my_game.png`.

    Titles come from logs: only letters, digits and underscores of them get into a file name.
    """
    game = re.sub(r"[^a-z0-9]+", "_", selection.game.lower())[:80].strip("_") or "game"
    stage = [] if selection.stage is None else [f"{game}-{selection.stage}.png"]
    boss = [f"{game}-{selection.stage}-boss.png"] if stage and selection.stage_kind == 1 else []
    return [*boss, *stage, f"{game}.png"]


def _png(path: Path) -> bytes | None:
    """The bytes of a PNG file of bearable size; None for anything else."""
    try:
        if not path.is_file():
            return None
        with path.open("rb") as file:
            content = file.read(LARGEST_BYTES + 1)
    except OSError:
        return None
    if len(content) > LARGEST_BYTES or content[:8] != _SIGNATURE or content[12:16] != b"IHDR":
        return None
    sides = int.from_bytes(content[16:20], "big"), int.from_bytes(content[20:24], "big")
    return content if all(0 < side <= _LARGEST_SIDE for side in sides) else None
