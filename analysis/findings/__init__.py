"""The one join: queries + pure functions -> findings. One room a question; pages, report and JSON read only this."""

from analysis.finding import Finding
from analysis.findings.basis import nothing
from analysis.findings.pooled import said_of_all, which_build
from analysis.findings.questions import QUESTIONS, Chapter
from analysis.reader import Reader
from analysis.selection import Selection


def find(reader: Reader, selection: Selection, questions: tuple[str, ...] = ()) -> list[Finding]:
    """All findings on `selection`, or those on some questions. Raises KeyError for an unknown question."""
    return [finding for question in questions or QUESTIONS for finding in _answer(reader, selection, question)]


def _answer(reader: Reader, selection: Selection, question: str) -> list[Finding]:
    """One question on builds that are never pooled unasked, nor without a word."""
    asked = QUESTIONS[question]
    if asked.chapter == Chapter.OUTCOME:  # it looks for its builds itself
        return asked.find(reader, selection)
    if not selection.maybe_newest:
        return said_of_all(reader, selection, asked.find(reader, selection))
    # What is to be trusted is known of all logs; nothing else is said of no build in particular.
    if asked.chapter == Chapter.DATA:
        return asked.find(reader, selection.of_every_build())
    return [nothing(question, which_build(selection))]
