"""`python -m tests.pictures`: takes the pictures of the README again, of the real dashboard on the demo logs.

Needs a Chromium-family browser. Not a test: run by hand after the pages have changed, and look at what came out.
"""

import io
import sys
import tempfile
import threading
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import Page, sync_playwright

import demo_logs
from dashboard.report.browser import find_browser
from dashboard.state.dashboard_session import Session
from dashboard.web.app import build_app
from dashboard.web.web_server import WebServer
from ingest.said.notes import add_target
from ingest.study.store import import_log, open_study

DEMO = Path(demo_logs.__file__).parent
INTO = Path(__file__).resolve().parent.parent / "dashboard" / "pictures"
SIZE = {"width": 1200, "height": 760}
PATIENCE_MS = 180_000


@contextmanager
def dashboard(folder: Path) -> Iterator[str]:
    """The address of a dashboard on all demo logs and targets."""
    study = open_study(folder / "demo.duckdb")
    for log in sorted(DEMO.glob("*.playlog")):
        import_log(study, log)
    for targets in sorted(DEMO.glob("targets_*.toml")):
        text = targets.read_text(encoding="utf-8")
        add_target(study.connection, tomllib.loads(text)["game"], text)
    session = Session(study, folder / "recordings")
    server = WebServer(build_app(session, pictures=DEMO / "stage_pictures").server, "127.0.0.1", 0)
    threading.Thread(target=server.run, daemon=True).start()
    yield f"http://127.0.0.1:{server.port}"
    server.close()
    session.close()


def drawn(page: Page, figures: int) -> None:
    """Waits until so many figures stand on the page."""
    page.locator(".js-plotly-plot:has(.main-svg)").nth(figures - 1).wait_for()
    page.wait_for_timeout(1500)


def propose(page: Page) -> None:
    """Presses the button, and waits for the proposals."""
    page.get_by_role("button", name="Propose", exact=True).click()
    first = page.locator(".answer-line").first
    first.wait_for()
    first.evaluate("card => card.scrollIntoView()")  # figures are drawn when they come into view
    drawn(page, 1)
    first.evaluate("card => card.scrollIntoView()")
    page.mouse.wheel(0, -60)
    page.wait_for_timeout(500)


def last_seconds(page: Page) -> None:
    """Opens the first death of the strongest hot place, as people do who use the keyboard."""
    page.locator("[data-key='fold places'] > summary").click()
    page.locator(".choosing tbody a").first.click()
    page.wait_for_url("**place=*")
    page.get_by_text("All places").wait_for()
    page.locator(".choosing tbody a").first.click()
    page.locator("[data-finding='deaths.one'] .main-svg").first.wait_for()
    page.wait_for_timeout(1500)


# Name of the picture -> page and filter, and what must be there before it is taken.
PICTURES: dict[str, tuple[str, Any]] = {
    "deaths": ("/deaths?game=Soot+Wardens", lambda page: drawn(page, 2)),
    "last_seconds": ("/deaths?game=Soot+Wardens", last_seconds),
    "survival": ("/survival?game=Soot+Wardens", lambda page: drawn(page, 2)),
    "timing": ("/timing?game=Tin+Drizzle", lambda page: drawn(page, 2)),
    "proposals": ("/tuning?game=Soot+Wardens", propose),
}


def take(page: Page, address: str, name: str) -> None:
    """Writes one picture, in few colours, which suits flat figures and keeps a clone small."""
    path, ready = PICTURES[name]
    page.goto(address + path)
    ready(page)
    picture = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    picture.quantize(128, dither=Image.Dither.NONE).save(INTO / f"{name}.png", optimize=True)


def main() -> int:
    """Takes all pictures, or those that were named."""
    browser = find_browser()
    if browser is None:
        print("no Chromium-family browser is installed", file=sys.stderr)
        return 1
    INTO.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, dashboard(Path(folder)) as address, sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=browser, args=["--headless", "--no-sandbox"])
        page = running.new_context(viewport=SIZE, color_scheme="light").new_page()
        page.set_default_timeout(PATIENCE_MS)
        for name in sys.argv[1:] or PICTURES:
            take(page, address, name)
            print(INTO / f"{name}.png")
        running.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
