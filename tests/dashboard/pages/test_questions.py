"""A question that findings answer appears everywhere: as a page, in the report and in the navigation."""

import re
from pathlib import Path

from analysis.findings import FINDERS
from dashboard.pages import PAGES

ROOT = Path(__file__).resolve().parents[3]


def test_every_question_has_a_page_and_a_place_in_the_report():
    paths = {page.path for page in PAGES}
    chapters = (ROOT / "dashboard/web/templates/report").glob("*.html")
    asked = [
        name
        for chapter in chapters
        for call in re.findall(r"each\(([^)]*)\)", chapter.read_text(encoding="utf-8"))
        for name in re.findall(r'"(\w+)"', call)
    ]
    assert [question for question in FINDERS if f"/{question}" not in paths] == []
    assert sorted(asked) == sorted(FINDERS)
