"""A study of demo logs, a dashboard that serves it, and a browser that looks at it."""

import os
import shutil
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from dashboard.report.browser import find_browser
from dashboard.state.dashboard_session import Session
from dashboard.web.app import build_app
from dashboard.web.web_server import WebServer
from ingest.study.store import import_log, open_study
from tests.needs import need

DEMO = Path(__file__).parents[2] / "demo_logs"
LOGS = (
    "soot_wardens_a_table1",
    "soot_wardens_a_table2",
    "soot_wardens_b_table1",
    "tin_drizzle_a_table1",
    "tin_drizzle_b_table1",
)
SWITCHES = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def demo_study(tmp_path_factory) -> Path:
    """The path of a closed study with two demo games; copy it before changing it."""
    path = tmp_path_factory.mktemp("demo") / "demo.duckdb"
    with open_study(path) as study:
        for name in LOGS:
            import_log(study, DEMO / f"{name}.playlog")
    return path


@pytest.fixture(scope="session")
def read_session(demo_study, tmp_path_factory) -> Iterator[Session]:
    """A session for tests that only read."""
    copy = tmp_path_factory.mktemp("read") / "read.duckdb"
    shutil.copy(demo_study, copy)
    session = Session(open_study(copy))
    yield session
    session.close()


@pytest.fixture
def own_session(demo_study, tmp_path) -> Iterator[Session]:
    """A session for one test to change."""
    copy = tmp_path / "own.duckdb"
    shutil.copy(demo_study, copy)
    session = Session(open_study(copy), tmp_path / "recordings")
    yield session
    session.close()


@dataclass
class Served:
    """A dashboard that is being served."""

    session: Session
    address: str


def serve(session: Session, token: str | None = None) -> Iterator[Served]:
    """Serves until the generator is closed."""
    server = WebServer(build_app(session, token=token).server, "127.0.0.1", 0)
    threading.Thread(target=server.run, daemon=True).start()
    try:
        yield Served(session, f"http://127.0.0.1:{server.port}")
    finally:
        server.close()


@pytest.fixture
def served(own_session) -> Iterator[Served]:
    """A dashboard for one test to change."""
    yield from serve(own_session)


@pytest.fixture(scope="session")
def chromium():
    """A headless Chromium; everything the test run needs of a browser."""
    from playwright import sync_api

    path = find_browser()
    need(path, "no Chromium-family browser is installed (Debian: apt install chromium)")
    with sync_api.sync_playwright() as running:
        browser = running.chromium.launch(executable_path=path, args=SWITCHES)
        yield browser
        browser.close()


@dataclass
class Watched:
    """A browser page that takes down every complaint of the browser and every request that leaves the machine."""

    page: object
    complaints: list[str] = field(default_factory=list)

    def watch(self, address: str) -> None:
        page = self.page
        page.on("console", lambda m: self.complaints.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        inside = (address, "data:", "blob:")
        page.on("request", lambda r: None if r.url.startswith(inside) else self.complaints.append(f"outside: {r.url}"))
        page.on("response", lambda r: self.complaints.append(f"{r.status} {r.url}") if r.status >= 400 else None)


def open_page(chromium, address: str, theme: str = "light", size: tuple[int, int] = (1280, 720)) -> Watched:
    """A fresh browser page, watched."""
    context = chromium.new_context(viewport={"width": size[0], "height": size[1]}, color_scheme=theme)
    page = context.new_page()
    page.set_default_timeout(float(os.environ.get("SETSCREW_TEST_PATIENCE_MS", "60000")))
    watched = Watched(page)
    watched.watch(address)
    return watched
