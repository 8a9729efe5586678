"""Figures that compare: two builds of a game, and the games of a class."""

import numpy as np
import plotly.graph_objects as go

from analysis.finding import Finding
from dashboard.figures.before_after import Row, before_after
from dashboard.figures.frame import INTERVAL, framed, interval_rows, whisker_height, whiskers
from dashboard.figures.palette import Theme


def progress(finding: Finding, theme: Theme) -> go.Figure | None:
    """The difference between two builds, with its interval."""
    estimate = finding.estimate
    if estimate is None or estimate.value is None:
        return None
    factor, unit = (100, "points") if estimate.unit == "share" else (1, estimate.unit)
    before, after = finding.tables["builds"]["build"]
    label = f"{after} against {before}"
    table = {
        "value": [factor * estimate.value],
        "low": [np.nan if estimate.low is None else factor * estimate.low],
        "high": [np.nan if estimate.high is None else factor * estimate.high],
    }
    return interval_rows(
        theme, [label], table, "value", x=f"difference, {unit} ({INTERVAL})", colour=theme.alive, zero=True
    )


def verdict(finding: Finding, theme: Theme) -> go.Figure | None:
    """Each target on the earlier build, on the later one and as it was wanted, on one scale for all shares."""
    known = finding.tables["targets"].dropna(subset=["before", "after"])
    shown = [
        Row(
            str(one["target"]),
            str(one["unit"]),
            float(one["before"]),
            float(one["after"]),
            seen=float(one["expected"]) if np.isfinite(one["expected"]) else None,
            seen_as="expected without a change",
            wanted=(float(one["wanted"]), float(one["tolerance"])) if np.isfinite(one["wanted"]) else None,
        )
        for one in known.astype({"expected": float, "wanted": float, "tolerance": float}).to_dict("records")
    ]
    return before_after(shown, theme, column=True) if shown else None


def games(finding: Finding, theme: Theme) -> go.Figure:
    """Each game's figure with its interval, the highest on top."""
    table = finding.tables["games"]
    labels = [str(game) for game in table["game"]][::-1]
    factor = 100 if finding.facts["unit"] == "share" else 1
    unit = "%" if factor == 100 else str(finding.facts["unit"])
    value, low, high = (factor * np.array(table[name], float)[::-1] for name in ("value", "low", "high"))
    marks = whiskers(theme, labels, value, low, high, colour=theme.alive)
    return framed(
        theme,
        [marks],
        x=f"{finding.title.lower()}, {unit}",
        height=whisker_height(len(labels)) + 20,
        xaxis={"rangemode": "tozero"},
    )
