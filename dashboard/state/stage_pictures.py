"""Pictures of stages that lie under the death map: PNG files in a folder of the user's, named by game and stage."""

import base64
import re
from dataclasses import replace
from pathlib import Path

import plotly.graph_objects as go

from analysis.finding import Finding
from analysis.selection import Selection
from dashboard.figures.frame import faded

# A console's screen is small; what is larger than this is no picture of one.
LARGEST_BYTES = 256 * 1024
_LARGEST_SIDE = 2048
_LARGEST_SMALL = 32 * 1024
_SIGNATURE = b"\x89PNG\r\n\x1a\n"
# How far the cells cover the picture, and from which share of the highest rate on.
_MOST_OPACITY, _COVERS_FROM = 0.85, 0.4


class StagePictures:
    """The pictures of one folder, looked for anew at each drawing; None: no folder."""

    def __init__(self, folder: Path | None = None):
        self.folder = folder

    def lay_under(self, figure: go.Figure, finding: Finding, selection: Selection) -> go.Figure:
        """Puts the picture of each stage that has one under its map; the axes of a map count pixels."""
        if finding.id == "deaths.places":
            self._lay(figure, selection, "")
        elif finding.id == "deaths.places_by_stage":
            parts = finding.tables["parts"]
            for number, (stage, kind) in enumerate(zip(parts["stage"], parts["stage_kind"], strict=True)):
                one = replace(selection, stage=int(stage), stage_kind=int(kind))
                self._lay(figure, one, str(number + 1) if number else "")
        return figure

    def _lay(self, figure: go.Figure, selection: Selection, axes: str) -> None:
        source = self.source(selection)
        # A row of small maps may not make the page heavy.
        if source is None or (axes and len(source) > _LARGEST_SMALL):
            return
        (_, width), (height, _) = figure.layout[f"xaxis{axes}"].range, figure.layout[f"yaxis{axes}"].range
        figure.add_layout_image(
            source=source,
            xref=f"x{axes}",
            yref=f"y{axes}",
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
            if (heat.xaxis or "x") == f"x{axes}":
                heat.colorscale = [
                    [at, faded(colour, _MOST_OPACITY * min(1.0, at / _COVERS_FROM))] for at, colour in heat.colorscale
                ]

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
