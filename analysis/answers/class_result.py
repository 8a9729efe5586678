"""The games of a class side by side, with the places that the data let them hold."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

from analysis.answers.answer import Answer, lines_of, table_text
from analysis.findings.games.class_places import METHOD, ClassPlaces, Placed, Row
from analysis.findings.games.side_by_side import FIGURES
from analysis.stats.estimate import LEVEL
from analysis.words import amount, capital, interval_name, span

if TYPE_CHECKING:
    import pandas as pd

NO_RANKING = (
    "Games stand in the order of their figures as measured. That order is no ranking. A game may be at any of its "
    "places: the data do not tell at which."
)


@dataclass(frozen=True, repr=False)
class ClassResult(Answer):
    """The result; unread: (file, why) of studies that could not be read; by: the figure that was said beforehand."""

    found: ClassPlaces
    studies: tuple[str, ...]
    unread: tuple[tuple[str, str], ...] = ()
    by: str | None = None

    @property
    def missing(self) -> str:  # type: ignore[override]
        if self.found.placed:
            return ""
        what = FIGURES[self.by].title.lower() if self.by else "any figure"
        games = "no game" if not self.found.games else "one game" if self.found.games == 1 else "games"
        return f"There is nothing to place: it takes two games with {what}; the studies that can be read hold {games}."

    @property
    def frame(self) -> "pd.DataFrame":
        """One row a figure and game: figure, game, study, value, low, high, unit, players, first, last."""
        import pandas as pd

        columns = ["figure", "game", "study", "value", "low", "high", "unit", "players", "first", "last"]
        rows = [
            [p.figure, r.game, r.study, e.value, e.low, e.high, e.unit, e.players, r.first, r.last]
            for p in self.found.placed
            for r in p.rows
            for e in (r.estimate,)
        ]
        return pd.DataFrame(rows, columns=columns)

    @property
    def sure(self) -> str:
        """How sure the places are."""
        if self.by or len(self.found.placed) == 1:
            return "In 19 classes of 20, every place given here is right."
        return (
            f"In 19 classes of 20, every place in all {len(self.found.placed)} tables is right. Who says before the "
            "playtest which figure counts, and names it with --by, gets narrower places."
        )

    def to_json(self) -> dict[str, Any]:
        """The keys of `setscrew class --json`."""
        from analysis.plain import plain

        placed = [asdict(one) | {"sentence": one.sentence} for one in self.found.placed]
        return plain(
            {
                "setscrew": version("setscrew"),
                "studies": list(self.studies),
                "unread": [{"study": study, "why": why} for study, why in self.unread],
                "by": self.by,
                "placed": placed,
                "remarks": list(self.found.remarks),
                "method": METHOD,
            }
        )

    def text(self) -> str:
        """What `setscrew class` prints."""
        if self.missing:
            return self.missing
        lines: list[str] = []
        for one in self.found.placed:
            lines += [FIGURES[one.figure].title, *lines_of(one.sentence)]
            lines += [
                *table_text(["", "places", "mean of players", interval_name(LEVEL), "players"], _rows(one.rows)),
                "",
            ]
        for words in (NO_RANKING, self.sure, *self.notes):
            lines += lines_of(words)
        return "\n".join(lines)

    @property
    def notes(self) -> tuple[str, ...]:
        """What to mind, in sentences."""
        lacking = [
            f"Without this figure ({FIGURES[one.figure].title.lower()}): {', '.join(one.without)}."
            for one in self.found.placed
            if one.without
        ]
        people = (
            "One person who played several games counts in each as another: who played what was not drawn by lot, and "
            "games differ in kind."
        )
        return (*lacking, *(capital(remark) for remark in self.found.remarks), people)


def places_in_words(row: Row) -> str:
    """`1`, `2 to 4`."""
    return str(row.first) if row.first == row.last else f"{row.first} to {row.last}"


def value_in_words(row: Row) -> tuple[str, str]:
    """The figure and its interval."""
    e = row.estimate
    unit = e.unit if e.unit in ("share", "s") else ""
    interval = "too few" if e.low is None or e.high is None else span(e.low, e.high, unit)
    return amount(e.value, unit), interval


def _rows(rows: Sequence[Row]) -> list[list[str]]:
    return [
        [f"{row.game} ({row.study})", places_in_words(row), *value_in_words(row), str(row.estimate.players)]
        for row in rows
    ]


def drawn(placed: Placed) -> list[tuple[float, float, float] | None]:
    """Of each row where its figure and the ends of its interval lie, in hundredths of the width that all take."""
    limits = [(e.value, e.low, e.high) for row in placed.rows for e in (row.estimate,)]
    known = [float(x) for three in limits for x in three if x is not None]
    low, high = min(known), max(known)
    width = (high - low) or 1.0

    def at(x: float) -> float:
        return round(100 * (x - low) / width, 2)

    return [None if v is None else (at(v), at(v if a is None else a), at(v if b is None else b)) for v, a, b in limits]
