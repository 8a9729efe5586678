"""What all sheets have in common: a template, the paper, and the typeface, which is carried along in the file."""

from base64 import b64encode
from functools import cache
from pathlib import Path
from shlex import quote
from typing import Any

from markupsafe import Markup

from analysis.tuning_answers.lesson import Lesson
from dashboard.web.templating import render

PAPERS = ("A4", "letter")
_FONT = "assets/fonts/atkinson-hyperlegible-next-latin-wght-normal.woff2"


def filled(template: str, paper: str, served: bool = False, **given: Any) -> Markup:
    """A sheet as one HTML file that needs nothing else; served: by the dashboard, which has the typeface.

    Raises ValueError for a paper that is none of PAPERS.
    """
    if paper not in PAPERS:
        raise ValueError(f"the paper is one of {', '.join(PAPERS)}")
    return render(template, paper=paper, font=f"/{_FONT}" if served else _font(), **given)


def study_word(lesson: Lesson) -> str:
    """The study's file as a word of a command; a name for it where there is none yet."""
    return quote(lesson.study.replace("`", "") or "class.duckdb")


@cache
def _font() -> str:
    return "data:font/woff2;base64," + b64encode((Path(__file__).parents[1] / _FONT).read_bytes()).decode("ascii")
