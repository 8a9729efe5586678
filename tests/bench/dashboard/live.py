"""How long a byte takes from the console to the figure on the live page, through a pseudo-terminal and Chromium.

    python -m tests.bench.dashboard.live

A demo log is sent in pieces. The clock starts when a piece has been written to the line, and ends when the figure of
the last runs is drawn anew from a study that holds every byte of it. Needs a system with pseudo-terminals.
"""

import os
import statistics
import tempfile
import time
import tty
from pathlib import Path

from playwright.sync_api import sync_playwright

from dashboard.report.browser import find_browser
from dashboard.state.dashboard_session import Session
from dashboard.web.app import build_app
from ingest.study.store import open_study
from tests.bench.dashboard.speed import served
from tests.dashboard.conftest import DEMO, SWITCHES

PIECES = 12
LOG = "crate_loft_a_table1.playlog"


def ingested(session: Session) -> int:
    """Bytes of the recording that the study holds."""
    rows = session.connection.cursor().execute("SELECT coalesce(max(bytes), 0) FROM captures").fetchall()
    return int(rows[0][0])


def main() -> None:
    game, console = os.openpty()
    tty.setraw(console)
    log = (DEMO / LOG).read_bytes()
    size = len(log) // (2 * PIECES)
    with tempfile.TemporaryDirectory() as name, sync_playwright() as running:
        session = Session(open_study(Path(name) / "live.duckdb"), Path(name) / "recordings")
        address = served(build_app(session))
        browser = running.chromium.launch(executable_path=find_browser(), args=SWITCHES)
        page = browser.new_page()
        page.goto(f"{address}/live")
        page.fill("#live-port", os.ttyname(console))
        page.click("#live-start")
        page.wait_for_selector(".consoles .card", timeout=60_000)
        sent = len(log) // 2
        for at in range(0, sent, 2000):
            os.write(game, log[at : min(at + 2000, sent)])
            time.sleep(0.01)
        drawn = "[...document.querySelectorAll('#live-recent [data-drawn]')].map(f => f.dataset.drawn)[0]"
        page.locator("#live-recent").scroll_into_view_if_needed()
        page.wait_for_function(f"() => {drawn}", timeout=60_000)
        to_study, to_figure = [], []
        for i in range(PIECES):
            while ingested(session) < sent:
                time.sleep(0.02)
            time.sleep(1.0 + 0.37 * (i % 5))  # not in step with the page's clock
            before = page.evaluate(drawn)
            os.write(game, log[sent : sent + size])
            began = time.perf_counter()
            sent += size
            while ingested(session) < sent:
                time.sleep(0.005)
            to_study.append(time.perf_counter() - began)
            page.wait_for_function(
                f"before => {{ const now = {drawn}; return now && now !== before; }}", arg=before, polling=10
            )
            to_figure.append(time.perf_counter() - began)
        for what, took in (("study", to_study), ("figure", to_figure)):
            print(f"byte to {what}: median {statistics.median(took):.2f} s, worst of {PIECES} {max(took):.2f} s")
        print(f"load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
        browser.close()
        session.close()


if __name__ == "__main__":
    main()
