"""A change and its prediction: each target and side effect as things are and as proposed, on a scale of its own."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import plotly.graph_objects as go

from analysis.tuning.proposal import Proposal
from analysis.words import amount, counted
from dashboard.figures.frame import faded, framed
from dashboard.figures.palette import Theme

# Key of a proposal's side effects -> what people call it, its unit, and whether more of it is bad for the players.
SIDE_EFFECTS: dict[str, tuple[str, str, bool]] = {
    "quit_share": ("runs given up", "share", True),
    "run_length_s": ("length of a run, seconds alive", "s", False),
    "hit_share": ("shots that hit", "share", False),
    "median_streak": ("streak of half the runs, shots", "", False),
}
_ROW, _TOP, _BOTTOM = 62, 8, 8


@dataclass(frozen=True)
class Row:
    """One figure before and after. Shares are 0 to 1; spans are 80 % intervals, None where there is none.

    seen: what was counted on the build in play, with the words for it; wanted: (figure, tolerance).
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


def rows(proposal: Proposal, seen: Mapping[str, float | None] | None = None, basis: str = "") -> list[Row]:
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
            counted_of_it = (seen or {}).get(key)
            found.append(
                Row(what, unit, before, after, None, None, counted_of_it, basis, None, True, bad and after > before)
            )
    return found


def before_after(shown: Sequence[Row], theme: Theme) -> go.Figure:
    """One scale a row, all shares on the same: a ring now, a dot as proposed, a cross for what was counted."""
    height = _TOP + _BOTTOM + _ROW * len(shown)
    figure = framed(
        theme, [], height=height, showlegend=False, margin={"l": 14, "r": 34, "t": _TOP, "b": _BOTTOM, "pad": 0}
    )
    inner = _ROW * len(shown)
    for number, row in enumerate(shown):
        suffix = str(number + 1) if number else ""
        top = 1 - number * _ROW / inner
        factor = 100 if row.unit == "share" else 1
        figure.update_layout({f"xaxis{suffix}": _across(theme, row, suffix), f"yaxis{suffix}": _up(top, inner, suffix)})
        colour = (theme.death if row.worse else theme.soft) if row.side else theme.alive
        _add_row(figure, theme, row, factor, colour, suffix)
        figure.add_annotation(
            text=f"<b>{escape(row.what)}</b>{_wish(row)}",
            x=0,
            y=top,
            xref="paper",
            yref="paper",
            xanchor="left",
            yanchor="top",
            showarrow=False,
            font={"size": 13, "color": theme.ink},
        )
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


def _up(top: float, inner: float, suffix: str) -> dict[str, Any]:
    return {
        "anchor": f"x{suffix}",
        "domain": [max(0.0, top - 44 / inner), top - 20 / inner],
        "range": [-1, 1],
        "visible": False,
    }


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
    # In words at the right of the title: two numbers may lie one on the other.
    counted_words = "" if row.seen is None else f"; counted {amount(row.seen, row.unit)} ({row.seen_words})"
    figure.add_annotation(
        text=f"{amount(row.now, row.unit)} → <b>{amount(row.then, row.unit)}</b>{counted_words}",
        x=1,
        y=1 - (int(suffix or 1) - 1) * _ROW / (figure.layout.height - _TOP - _BOTTOM),
        xref="paper",
        yref="paper",
        xanchor="right",
        yanchor="top",
        showarrow=False,
        font={"size": 12, "color": colour if row.worse else theme.ink},
    )


def _wish(row: Row) -> str:
    return "" if row.wanted is None else f", wanted {amount(row.wanted[0], row.unit)}"


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)
