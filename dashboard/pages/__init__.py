"""All pages, in the order of the navigation."""

from analysis.findings.questions import Chapter, in_chapter
from dashboard.pages import (
    deaths_page,
    games_page,
    import_page,
    live_page,
    overview_page,
    plan_page,
    report_page,
    runs_page,
    terms_page,
    tuning_page,
)
from dashboard.pages.page import Page
from dashboard.pages.question_pages import page_of

# A question whose page is more than the cards of its findings.
_OWN = {deaths_page.PAGE.question: deaths_page.PAGE}


def _of(*chapters: Chapter) -> list[Page]:
    return [_OWN.get(question.id) or page_of(question) for question in in_chapter(*chapters)]


PAGES: tuple[Page, ...] = (
    overview_page.PAGE,
    live_page.PAGE,
    import_page.PAGE,
    runs_page.PAGE,
    games_page.PAGE,
    *_of(Chapter.DATA, Chapter.EVIDENCE),
    tuning_page.PAGE,
    *_of(Chapter.OUTCOME),
    plan_page.PAGE,
    report_page.PAGE,
    terms_page.PAGE,
)
