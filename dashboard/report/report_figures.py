"""The figures of a report as plotly draws them, large where the argument shows them and small in the appendix."""

import json
from typing import Any

from analysis.finding import Finding
from dashboard.figures import WIDE_ON_PAPER, figure_for
from dashboard.figures.before_after import before_after, rows
from dashboard.figures.palette import LIGHT
from dashboard.report.content import Content, GamePart

# Pixels: over the whole page, or in one of the appendix's two columns. Words of twelve pixels can be read at either.
_WIDE, _NARROW = 690, 350
# Heights that look right at the whole width -> in a column; rows of whiskers need all the height they have.
_HEIGHTS = {420: 280, 400: 270, 340: 230, 320: 200, 280: 220, 240: 190}
# In the argument two large figures and their words stand on a page. Of many players each keeps its label.
_ROWS = {"timing.hit_share", "timing.players", "players.skill"}
_TALL, _TALL_ROWS, _LABEL_PX = 280, 350, 9
# Rows that stand close on a page: here each axis keeps clear of the name below it.
_APART = 1.4


def picture_name(game: int, finding: Finding) -> str:
    """The name of a finding's figure: also its file's."""
    return f"{game + 1}-{finding.key}".replace("/", "_")


def change_name(game: int) -> str:
    """The name of the figure of a game's change."""
    return f"{game + 1}-change-predicted"


def figures(content: Content) -> dict[str, dict[str, Any]]:
    """Name -> figure as plotly's JSON, with width and height."""
    found: dict[str, dict[str, Any]] = {}
    for g, game in enumerate(content.games):
        large = {finding.key for finding in (*game.evidence, *game.outcome)}
        for finding in (*game.findings, *(content.side_by_side if g == 0 else ())):
            drawn = _drawn(content, game, finding, finding.key in large)
            if drawn is not None:
                found[picture_name(g, finding)] = drawn
        changed = _change(game)
        if changed is not None:
            found[change_name(g)] = changed
    return found


def _drawn(content: Content, game: GamePart, finding: Finding, large: bool) -> dict[str, Any] | None:
    figure = figure_for(finding, LIGHT, paper=True)
    if figure is None:
        return None
    figure = content.stage_pictures.lay_under(figure, finding, game.selection)
    height = figure.layout.height
    if finding.id == "progress.verdict":
        height = round(_APART * height)
    elif large:
        height = min(height, _TALL_ROWS if finding.id in _ROWS else _TALL)
    elif finding.id not in WIDE_ON_PAPER:
        height = _HEIGHTS.get(height, height)
    width = _WIDE if large or finding.id in WIDE_ON_PAPER else _NARROW
    if height < figure.layout.height and finding.id in _ROWS:
        figure.update_yaxes(dtick=1, tickfont={"size": _LABEL_PX})
        figure.update_traces(marker_size=6, selector={"mode": "markers"})
    figure.update_layout(width=width, height=height, paper_bgcolor="#ffffff", autosize=False)
    return _json(figure)


def _change(game: GamePart) -> dict[str, Any] | None:
    if not game.proposals or not game.proposals[0].changes or not game.proposals[0].targets:
        return None
    figure = before_after(rows(game.proposals[0], *game.first_runs), LIGHT)
    figure.update_layout(width=_WIDE, paper_bgcolor="#ffffff", autosize=False)
    return _json(figure)


def _json(figure: Any) -> dict[str, Any]:
    made: dict[str, Any] = json.loads(figure.to_json())
    return made
