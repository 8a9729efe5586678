"""The one join: queries + pure functions -> findings. One room a question; pages, report and JSON read only this."""

from analysis.finding import Finding
from analysis.findings.questions import QUESTIONS
from analysis.reader import Reader
from analysis.selection import Selection


def find(reader: Reader, selection: Selection, questions: tuple[str, ...] = ()) -> list[Finding]:
    """All findings on `selection`, or those on some questions. Raises KeyError for an unknown question."""
    return [finding for question in questions or QUESTIONS for finding in QUESTIONS[question].find(reader, selection)]
