"""The games of a class side by side, to print."""

from typing import Any

from markupsafe import Markup

from analysis.answers.class_result import NO_RANKING, ClassResult, drawn, places_in_words, value_in_words
from analysis.findings.games.class_places import METHOD, Placed
from analysis.findings.games.side_by_side import FIGURES
from analysis.stats.estimate import LEVEL
from analysis.words import counted, interval_name
from dashboard.sheets.made import filled


def class_sheet(result: ClassResult, paper: str = "A4") -> Markup:
    """The HTML of the sheet."""
    return filled(
        "sheets/class.html",
        paper,
        title="The games of the class",
        about=f"{counted(result.found.games, 'game')} of {counted(len(result.studies), 'study', 'studies')}; the "
        "newest build of each, without the makers' own runs.",
        missing=result.missing,
        figures=[_figure(one) for one in result.found.placed],
        interval=interval_name(LEVEL),
        notes=[NO_RANKING, result.sure, *result.notes] if result.found.placed else list(result.found.remarks),
        unread=[why if study in why else f"{study}: {why}" for study, why in result.unread],
        method=METHOD,
    )


def _figure(placed: Placed) -> dict[str, Any]:
    figure = FIGURES[placed.figure]
    rows = []
    for row, where in zip(placed.rows, drawn(placed), strict=True):
        value, interval = value_in_words(row)
        rows.append(
            {
                "places": places_in_words(row),
                "game": row.game,
                "study": row.study.removesuffix(".duckdb"),
                "value": value,
                "interval": interval,
                "players": row.estimate.players,
                "drawn": where,
            }
        )
    unit = "" if figure.unit == "share" else f" ({figure.unit})"
    return {"title": f"{figure.title}{unit}", "sentence": placed.sentence, "rows": rows, "axis": "higher →"}
