"""All pages, in the order of the navigation."""

from dashboard.page import Page
from dashboard.pages import deaths, games, import_logs, live, overview, plan, questions, report, runs, tuning

PAGES: tuple[Page, ...] = (
    overview.PAGE,
    live.PAGE,
    import_logs.PAGE,
    runs.PAGE,
    games.PAGE,
    questions.TRUST,
    deaths.PAGE,
    questions.SURVIVAL,
    questions.TIMING,
    questions.PLAYERS,
    questions.GENRES,
    tuning.PAGE,
    questions.PROGRESS,
    plan.PAGE,
    report.PAGE,
)
