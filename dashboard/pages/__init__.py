"""All pages, in the order of the navigation."""

from dashboard.page import Page
from dashboard.pages import questions

PAGES: tuple[Page, ...] = (
    questions.TRUST,
    questions.DEATHS,
    questions.SURVIVAL,
    questions.TIMING,
    questions.PLAYERS,
    questions.GENRES,
    questions.PROGRESS,
)
