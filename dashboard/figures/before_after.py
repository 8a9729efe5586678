"""A change and its prediction: each target and side effect as things are and as proposed, on a scale of its own."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import plotly.graph_objects as go

from analysis.tuning.headline import SIDE_EFFECTS
from analysis.tuning.proposal import Proposal, Way
from analysis.words import amount, counted
from dashboard.figures.frame import faded, framed, words_at
from dashboard.figures.palette import Theme

_TOP, _BOTTOM = 8, 8
# Pixels of a row; from its top to the bar's upper and lower edge. In a column of a page the numbers need a line of
# their own, and names their first letters.
_WIDE_ROW, _COLUMN_ROW = (62, 20, 44), (58, 31, 45)
_LONGEST_NAME = 46
_LONGEST_LINE = 105  # letters of a wide row's name, wish and numbers, its <b> and </b> counted in


@dataclass(frozen=True)
class Row:
    """One figure before and after. Shares are 0 to 1; spans are 80 % intervals, None where there is none.

    seen: what was counted on the build in play, with the words for it, or another figure as `seen_as` calls it; wanted:
    (figure, tolerance).
    """

    what: str
    unit: str
    now: float
    then: float
    now_span: tuple[float, float] | None = None
    then_span: tuple[float, float] | None = None
    seen: float | None = None
    seen_words: str = ""
    wanted: tuple[float, float] | None = None
    side: bool = False
    worse: bool = False
    seen_as: str = "counted"


def rows(proposal: Proposal | Way, seen: Mapping[str, float | None] | None = None, basis: str = "") -> list[Row]:
    """What a proposal says, row by row. seen: side effect -> what was counted of it, on `basis`."""
    found = [
        Row(
            t.target,
            t.unit,
            t.now.value,
            t.proposed.value,
            (t.now.low80, t.now.high80),
            (t.proposed.low80, t.proposed.high80),
            t.observed,
            f"{counted(t.observed_players, 'player')}, {counted(t.observed_runs, 'run')}",
            (t.wanted, t.tolerance),
        )
        for t in proposal.targets
    ]
    now, then = (proposal.side_effects.get(name, {}) for name in ("now", "proposed"))
    for key, (what, unit, bad) in SIDE_EFFECTS.items():
        if _is_number(now.get(key)) and _is_number(then.get(key)):
            before, after = float(now[key]), float(then[key])
            # As people read it: a change that they do not see is not painted as one.
            worse = bad and after > before and amount(after, unit) != amount(before, unit)
            counted_of_it = (seen or {}).get(key)
            found.append(Row(what, unit, before, after, None, None, counted_of_it, basis, None, True, worse))
    return found


def before_after(shown: Sequence[Row], theme: Theme, column: bool = False) -> go.Figure:
    """One scale a row, all shares on the same: a ring now, a dot as proposed, a cross for what was counted.

    column: it stands in a narrow column of a page.
    """
    row_px, upper, lower = _COLUMN_ROW if column else _WIDE_ROW
    height = _TOP + _BOTTOM + row_px * len(shown)
    figure = framed(
        theme, [], height=height, showlegend=False, margin={"l": 14, "r": 34, "t": _TOP, "b": _BOTTOM, "pad": 0}
    )
    inner = row_px * len(shown)
    for number, row in enumerate(shown):
        suffix = str(number + 1) if number else ""
        top = 1 - number * row_px / inner
        factor = 100 if row.unit == "share" else 1
        figure.update_layout(
            {
                f"xaxis{suffix}": _across(theme, row, suffix),
                f"yaxis{suffix}": _up(top - lower / inner, top - upper / inner, suffix),
            }
        )
        colour = (theme.death if row.worse else theme.soft) if row.side else theme.alive
        _add_row(figure, theme, row, factor, colour, suffix)
        above = top - upper / inner  # words stay with their bar where the figure is drawn higher
        numbers = _numbers(row, column)
        words_at(
            figure,
            numbers,
            0 if column else 1,
            above,
            12,
            colour if row.worse else theme.ink,
            xanchor="left" if column else "right",
        )
        room = _LONGEST_NAME if column else _LONGEST_LINE - len(numbers)
        # The field shows what is wanted too.
        wish = "" if column or len(row.what) + len(_wish(row)) > room else _wish(row)
        name = f"<b>{escape(_name(row, room))}</b>{wish}"
        words_at(figure, name, 0, above, 13, theme.ink, yshift=15 if column else 0)
    return figure


def _across(theme: Theme, row: Row, suffix: str) -> dict[str, Any]:
    most = max(one for one in (row.now, row.then, row.seen or 0, *(row.then_span or ()), *(row.now_span or ())))
    end = 100 if row.unit == "share" else 1.15 * max(most, 1e-9)
    return {
        "anchor": f"y{suffix}",
        "range": [-0.01 * end, 1.01 * end],
        "showgrid": True,
        "gridcolor": theme.rule,
        "zeroline": False,
        "showline": False,
        "ticks": "",
        "nticks": 6,
        "automargin": False,
        "ticksuffix": " %" if row.unit == "share" else f" {row.unit}".rstrip(),
        "tickfont": {"size": 10, "color": theme.soft},
    }


def _up(low: float, high: float, suffix: str) -> dict[str, Any]:
    return {"anchor": f"x{suffix}", "domain": [max(0.0, low), high], "range": [-1, 1], "visible": False}


def _add_row(figure: go.Figure, theme: Theme, row: Row, factor: float, colour: str, suffix: str) -> None:
    on: dict[str, Any] = {"xaxis": f"x{suffix}", "yaxis": f"y{suffix}", "showlegend": False, "hoverinfo": "skip"}
    if row.wanted is not None:
        middle, off = row.wanted
        figure.add_shape(
            type="rect",
            xref=f"x{suffix}",
            yref=f"y{suffix}",
            x0=factor * (middle - off),
            x1=factor * (middle + off),
            y0=-1,
            y1=1,
            line={"width": 0},
            fillcolor=faded(theme.hit, 0.25),
            layer="below",
        )
    for span, opacity, ink in ((row.now_span, 0.22, theme.soft), (row.then_span, 0.35, colour)):
        if span is not None:
            ends = [factor * one for one in span]
            figure.add_scatter(x=ends, y=[0, 0], mode="lines", line={"color": faded(ink, opacity), "width": 11}, **on)
    figure.add_scatter(
        x=[factor * row.now, factor * row.then], y=[0, 0], mode="lines", line={"color": colour, "width": 2}, **on
    )
    ring = {"symbol": "circle", "size": 10, "color": theme.panel, "line": {"color": theme.soft, "width": 2}}
    figure.add_scatter(x=[factor * row.now], y=[0], mode="markers", marker=ring, **on)
    figure.add_scatter(x=[factor * row.then], y=[0], mode="markers", marker={"size": 11, "color": colour}, **on)
    if row.seen is not None:
        cross = {"symbol": "x-thin", "size": 9, "line": {"color": theme.ink, "width": 2}}
        figure.add_scatter(x=[factor * row.seen], y=[0], mode="markers", marker=cross, **on)


def _numbers(row: Row, column: bool) -> str:
    """In words beside the name, or in a column below it: two numbers may lie one on the other."""
    now, then = amount(row.now, row.unit), amount(row.then, row.unit)
    basis = f" ({row.seen_words})" if row.seen_words and not column else ""
    seen = "" if row.seen is None else f"; {row.seen_as} {amount(row.seen, row.unit)}{basis}"
    words = f"{_wish(row)[2:]}: " if column and row.wanted else ""
    return f"{words}{now} → <b>{then}</b>{seen}"


def _name(row: Row, room: int) -> str:
    return f"{row.what[: room - 1].rstrip()}…" if len(row.what) > room else row.what


def _wish(row: Row) -> str:
    return "" if row.wanted is None else f", wanted {amount(row.wanted[0], row.unit)}"


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)
