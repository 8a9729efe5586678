"""The one join: queries + pure functions -> findings. One module a question; dashboard, report and JSON
read only this.
"""

from collections.abc import Callable

from analysis.finding import Finding
from analysis.findings import deaths, games, players, progress, survival, timing, trust
from analysis.reader import Reader
from analysis.selection import Selection

Finder = Callable[[Reader, Selection], list[Finding]]

# Question -> the function that answers it. The order is the order of the pages and of the report.
FINDERS: dict[str, Finder] = {
    "trust": trust.find,
    "deaths": deaths.find,
    "survival": survival.find,
    "players": players.find,
    "genres": games.find,
    "timing": timing.find,
    "progress": progress.find,
}


def find(reader: Reader, selection: Selection, questions: tuple[str, ...] = ()) -> list[Finding]:
    """All findings on `selection`, or those on some questions. Raises KeyError for an unknown question."""
    return [finding for question in questions or FINDERS for finding in FINDERS[question](reader, selection)]
