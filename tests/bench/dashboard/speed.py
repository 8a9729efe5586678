"""How long people wait in Chromium: first page, and filter to figure; demo study and a million events.

    python -m tests.bench.dashboard.speed

Beside each stands a plain Dash page with one small figure, in the same browser and the same run: what no dashboard
could be faster than. On a busy machine only the differences and ratios mean something.
"""

import statistics
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

import plotly.graph_objects as go
from dash import Dash, dcc, html
from playwright.sync_api import Page, sync_playwright

from dashboard.report.browser import find_browser
from dashboard.state.dashboard_session import Session
from dashboard.web.app import build_app
from dashboard.web.web_server import WebServer
from ingest.said.notes import note_order
from ingest.study.store import import_log, open_study
from ingest.wire.checksum import crc16
from ingest.wire.cobs import stuff
from tests.dashboard.conftest import DEMO, SWITCHES
from tests.reference import unstuff

LOADS, CLICKS = 3, 5
MILLION = 1_000_000


def served(app: Dash) -> str:
    server = WebServer(app.server, "127.0.0.1", 0)
    threading.Thread(target=server.run, daemon=True).start()
    return f"http://127.0.0.1:{server.port}"


def demo_study(folder: Path) -> Session:
    study = open_study(folder / "demo.duckdb")
    for log in sorted(DEMO.glob("*.playlog")):
        import_log(study, log)
    return Session(study)


def of_another_console(log: bytes, number: int) -> bytes:
    """A whole log with `number` added to the nonce of each settings packet (FORMAT.md, section 5): a copy of none."""
    parts = []
    for frame in log.split(b"\0"):
        packet = bytearray(unstuff(frame) or b"")
        if packet[:1] == b"\x13":
            nonce = int.from_bytes(packet[11:13], "little") + number
            packet[11:13] = (nonce & 0xFFFF).to_bytes(2, "little")
            packet[-2:] = crc16(bytes(packet[:-2])).to_bytes(2, "big")
            frame = stuff(bytes(packet))
        parts.append(frame)
    return b"\0".join(parts)


def large_study(folder: Path) -> Session:
    """The shooter's demo logs again and again, as if of so many consoles."""
    study = open_study(folder / "large.duckdb")
    events = copies = 0
    while events < MILLION:
        copies += 1
        for log in sorted(DEMO.glob("soot_wardens_*_table[12].playlog")):  # those that are whole
            copy = folder / f"{copies}-{log.name}"
            copy.write_bytes(of_another_console(log.read_bytes(), copies))
            events += import_log(study, copy).events
            copy.unlink()
    note_order(study.connection, "Soot Wardens", ["lantern 1.3"], "lantern 1.3 b")
    session = Session(study)
    print(f"large study: {events} events, {session.ask('study_games')['runs'].sum()} runs")
    return session


def plain_page() -> Dash:
    app = Dash("plain", serve_locally=True)
    app.layout = html.Main(dcc.Graph(figure=go.Figure(go.Scatter(x=[1, 2, 3], y=[2, 1, 3]))))
    return app


# The browser's own word for when the first text of the page itself, not of its frame, was painted.
READABLE = """new PerformanceObserver(list => {
  for (const entry of list.getEntries()) {
    if (entry.element && entry.element.closest('main')) { window.readable ??= entry.startTime; }
  }
}).observe({ type: 'largest-contentful-paint', buffered: true });"""


def first_page(page: Page, address: str, ready: str) -> tuple[float, float]:
    """Median seconds from the request until `ready` is there, and until the page could be read.

    The browser's cache is empty: each time is that of a fresh context.
    """
    took, readable = [], []
    for _ in range(LOADS):
        context = page.context.browser.new_context(viewport={"width": 1280, "height": 720})  # type: ignore[union-attr]
        fresh = context.new_page()
        fresh.add_init_script(READABLE)
        began = time.perf_counter()
        fresh.goto(address, wait_until="commit")
        fresh.wait_for_selector(ready, timeout=120_000)
        took.append(time.perf_counter() - began)
        readable.append((fresh.evaluate("window.readable") or float("nan")) / 1000)
        context.close()
    return statistics.median(took), statistics.median(readable)


def clicks(page: Page, address: str, path: str, change: Callable[[Page, int], None]) -> float:
    """Median seconds from a filter's click to the first figure drawn anew. Each answer is asked for the first time."""
    page.goto(f"{address}{path}")
    page.wait_for_selector("[data-drawn] .main-svg", timeout=120_000)
    page.locator("[data-figure]").first.scroll_into_view_if_needed()  # only figures in view are drawn anew
    page.wait_for_timeout(1000)
    took = []
    for i in range(CLICKS):
        before = page.get_attribute("[data-figure]", "data-drawn")
        began = time.perf_counter()
        change(page, i)
        page.wait_for_function(
            "before => { const f = document.querySelector('[data-figure]');"
            " const drawn = f && f.dataset.drawn;"
            " return drawn && drawn !== before && drawn.startsWith(f.dataset.figure); }",
            arg=before,
            polling=5,
            timeout=120_000,
        )
        took.append(time.perf_counter() - began)
    return statistics.median(took)


def another_player(page: Page, number: int) -> None:
    page.evaluate(
        "n => document.querySelectorAll('#filter-bar details')[3].querySelectorAll('li a')[n + 1].click()", number
    )


def main() -> None:
    with tempfile.TemporaryDirectory() as name, sync_playwright() as running:
        folder = Path(name)
        browser = running.chromium.launch(executable_path=find_browser(), args=SWITCHES)
        page = browser.new_page(viewport={"width": 1280, "height": 720})
        plain, _ = first_page(page, served(plain_page()), ".main-svg")
        print(f"plain Dash page with one figure: {plain:.2f} s")
        for what, session in (("demo study", demo_study(folder)), ("a million events", large_study(folder))):
            address = served(build_app(session))
            first, text = first_page(page, f"{address}/?game=Soot+Wardens", "main .cards")
            print(f"{what}: overview {first:.2f} s ({first / plain:.2f} of plain), text painted {text:.2f} s")
            for path in ("/trust", "/deaths", "/survival", "/players"):
                first, text = first_page(page, f"{address}{path}?game=Soot+Wardens", "[data-drawn] .main-svg")
                wait = clicks(page, address, f"{path}?game=Soot+Wardens&builds=all", another_player)
                print(
                    f"{what}: {path} text {text:.2f} s, first figure {first:.2f} s ({first / plain:.2f} of plain), "
                    f"filter to figure {wait:.2f} s"
                )
        browser.close()


if __name__ == "__main__":
    main()
