"""All pages, in the order of the navigation."""

from dashboard.pages import (
    deaths_page,
    games_page,
    import_page,
    live_page,
    overview_page,
    plan_page,
    question_pages,
    report_page,
    runs_page,
    tuning_page,
)
from dashboard.pages.page import Page

PAGES: tuple[Page, ...] = (
    overview_page.PAGE,
    live_page.PAGE,
    import_page.PAGE,
    runs_page.PAGE,
    games_page.PAGE,
    question_pages.TRUST,
    deaths_page.PAGE,
    question_pages.SURVIVAL,
    question_pages.TIMING,
    question_pages.PLAYERS,
    question_pages.GENRES,
    tuning_page.PAGE,
    question_pages.PROGRESS,
    plan_page.PAGE,
    report_page.PAGE,
)
