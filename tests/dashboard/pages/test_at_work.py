"""What must not be lost at work: the server stops and comes back, a page is left while a job runs, it is printed."""

import contextlib
import shutil
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from dashboard.state.dashboard_session import Session
from dashboard.state.jobs import Jobs
from dashboard.web.app import build_app
from dashboard.web.web_server import WebServer
from ingest.study.store import open_study
from tests.dashboard.conftest import open_page
from tests.waiting import until

HIDDEN = "() => document.querySelector('#gone').hidden"


def test_who_asks_the_same_joins_the_running_job():
    jobs, go = Jobs(), threading.Event()

    def wait(job):
        go.wait(20)
        return job.number

    first = jobs.start("propose", wait, "runs", "a target")
    assert jobs.start("propose", wait, "runs", "a target") is first
    others = [jobs.start("propose", wait, *asked) for asked in (("runs", "another"), ("others", "a target"), ("runs",))]
    assert len({first.number, *(job.number for job in others)}) == 4
    assert jobs.latest("propose", "runs") is others[-1] and jobs.latest("propose", "others") is others[1]
    assert jobs.latest("plan", "runs") is None
    first.cancel()
    assert jobs.start("propose", wait, "runs", "a target") is not first
    go.set()
    jobs.close()


@pytest.mark.browser
def test_a_bar_stays_while_the_server_is_gone(chromium, own_session):
    server = WebServer(build_app(own_session).server, "127.0.0.1", 0)
    port, address = server.port, f"http://127.0.0.1:{server.port}"
    running = threading.Thread(target=server.run, daemon=True)
    running.start()
    page = open_page(chromium, address).page
    page.goto(f"{address}/deaths?game=Soot+Wardens")
    page.wait_for_selector("main .card")
    assert page.evaluate(HIDDEN)
    server.close()
    running.join(20)
    page.wait_for_selector("#gone:not([hidden])")
    assert page.query_selector("main .card") and "does not answer" in page.inner_text("#gone")
    page.wait_for_timeout(9000)  # longer than any message stays
    assert page.is_visible("#gone")
    again = WebServer(build_app(own_session).server, "127.0.0.1", port)
    threading.Thread(target=again.run, daemon=True).start()
    page.wait_for_function(HIDDEN)
    page.click("nav a >> text=Who plays")
    page.wait_for_selector("[data-finding^='players.']")
    page.context.close()
    again.close()


@pytest.mark.browser
def test_a_job_goes_on_without_the_page_and_its_result_waits(chromium, served):
    served.session.add_target("Soot Wardens", '[[target]]\noutcome = "finish"\nwanted = 0.5\n')
    watched = open_page(chromium, served.address)
    page = watched.page
    page.goto(f"{served.address}/plan?game=Soot+Wardens")
    page.click("#plan-make")
    page.wait_for_function("() => document.querySelector('#plan-progress').innerText.length > 0")
    page.reload()
    page.wait_for_selector("#plan-result section")
    page.click("nav a >> text=Who plays")
    page.wait_for_selector("[data-finding^='players.']")
    page.click("nav a[href^='/plan']")
    page.wait_for_selector("#plan-result section")
    assert len([job for job in map(served.session.jobs.get, range(1, 9)) if job is not None]) == 1
    assert watched.complaints == []
    page.context.close()


@pytest.mark.browser
def test_words_on_a_run_wait_until_they_are_kept(chromium, served):
    watched = open_page(chromium, served.address)
    page = watched.page

    def leave_and_return() -> str:
        page.click("nav a >> text=Who plays")
        page.wait_for_selector("[data-finding^='players.']")
        page.click("nav a[href^='/runs']")
        page.wait_for_selector("#run-remark")
        return page.input_value("#run-remark")

    page.goto(f"{served.address}/runs?game=Soot+Wardens")
    page.wait_for_selector("#run-remark")
    run = page.locator("#runs-known option").first.get_attribute("value")
    page.fill("#run-chosen", run)
    page.fill("#run-remark", "held it upside down")
    page.locator("#run-remark").blur()
    assert leave_and_return() == "held it upside down" and page.input_value("#run-chosen") == run
    page.click("#run-keep")
    page.wait_for_function("() => document.querySelector('#run-remark').value === ''")
    assert leave_and_return() == ""
    assert watched.complaints == []
    page.context.close()


AS_PRINTED = """() => {
  const width = one => one.getBoundingClientRect().width;
  window.asPrinted = {
    theme: document.documentElement.dataset.theme,
    folded: document.querySelectorAll("main details:not([open], .drawer)").length,
    tables: [...document.querySelectorAll("main .drawer, main .drawer .served")].filter(one => width(one) > 0).length,
    light: document.querySelectorAll("main [data-figure][data-drawn*='theme=light']").length,
    figures: document.querySelectorAll("main [data-figure]").length,
    widths: [...document.querySelectorAll("main [data-figure] .main-svg:first-child")].map(width),
  };
}"""


@pytest.mark.browser
def test_a_page_is_printed_whole_in_light_colours_and_is_then_as_before(chromium, served, tmp_path):
    watched = open_page(chromium, served.address, "dark")
    page = watched.page
    page.goto(f"{served.address}/deaths?game=Soot+Wardens")
    page.wait_for_selector("[data-drawn]")
    folded = page.locator("main details:not([open], .drawer)").count()
    page.evaluate(f"() => {{ window.print = {AS_PRINTED}; }}")
    page.keyboard.press("Control+p")
    page.wait_for_function("() => window.asPrinted")
    printed = page.evaluate("() => window.asPrinted")
    assert printed["theme"] == "light" and printed["folded"] == printed["tables"] == 0 < folded
    assert len(printed["widths"]) == printed["figures"] == printed["light"] > 3 and max(printed["widths"]) <= 718
    paper = page.pdf(path=str(tmp_path / "page.pdf"))
    assert paper.startswith(b"%PDF")
    page.evaluate("() => window.dispatchEvent(new Event('afterprint'))")
    page.wait_for_function("() => document.documentElement.dataset.theme === 'dark'")
    assert page.locator("main details:not([open], .drawer)").count() == folded
    assert watched.complaints == []
    page.context.close()


@pytest.mark.browser
def test_words_that_are_not_kept_yet_are_there_after_a_reload(chromium, served):
    watched = open_page(chromium, served.address)
    page = watched.page
    game = "?game=Soot+Wardens"
    page.goto(f"{served.address}/tuning{game}")
    page.fill("#target-wanted", "55 %")
    page.click("#target-add")
    page.wait_for_selector("#target-wishes:has-text('Not kept yet')")
    page.reload()
    page.wait_for_selector("#target-wishes:has-text('Not kept yet')")
    assert page.input_value("#target-wanted") == "55 %" and "55 %" in page.inner_text("#target-wishes")
    page.click("#targets-keep")
    page.wait_for_selector("#target-wishes:not(:has-text('Not kept yet'))")
    assert "55 %" in page.inner_text("#target-wishes")
    forms = {
        "/runs": {"#run-remark": "held it upside down", "#order-first": "lantern 1.3", "#order-then": "lantern 1.3 b"},
        "/import": {"#testers-found": "friends of ours", "#role-role": "death"},
        "/plan": {"#plan-against": "lives=5"},
        "/report": {"#report-title": "Soot"},
    }
    for path, words in forms.items():
        page.goto(f"{served.address}{path}{game}")
        for field, text in words.items():
            page.fill(field, text)
        page.wait_for_function(
            "words => words.every(word => JSON.stringify({...sessionStorage}).includes(word))", arg=[*words.values()]
        )
        page.reload()
        for field, text in words.items():
            page.wait_for_selector(field)
            assert page.input_value(field) == text, path
    # What is kept is kept: the field is free for the next.
    page.goto(f"{served.address}/runs{game}")
    page.click("#order-keep")
    page.wait_for_function("() => document.querySelector('#order-first').value === ''")
    page.reload()
    page.wait_for_selector("#order-first")
    assert page.input_value("#order-first") == "" and page.input_value("#run-remark") == "held it upside down"
    assert watched.complaints == []
    page.context.close()


@pytest.mark.browser
@pytest.mark.parametrize("away", ["back at once", "on to a third", "back, and the answer is an error"])
def test_an_answer_that_comes_late_does_not_win_over_a_newer_address(chromium, served, away):
    """The page asked for second is held back until the browser has gone elsewhere."""
    from playwright.sync_api import Error

    page = open_page(chromium, served.address).page
    page.goto(f"{served.address}/deaths?game=Soot+Wardens")
    title = "() => document.querySelector('main h1').textContent"
    page.wait_for_selector("main h1")
    first = page.evaluate(title)
    held = []

    def hold(route) -> None:
        held.append(route)

    page.route("**/part.json*page=%2Fsurvival*", hold)
    page.click("nav a >> text=How long they last")
    until(lambda: page.wait_for_timeout(20) is None and held)
    if away == "on to a third":
        page.click("nav a >> text=Who plays")
        page.wait_for_function("was => document.querySelector('main h1').textContent !== was", arg=first)
        expected = page.evaluate(title)
    else:
        page.go_back()
        page.wait_for_function("() => location.pathname === '/deaths'")
        expected = first
    for route in held:
        with contextlib.suppress(Error):  # the browser may have given it up
            if away.endswith("error"):
                route.fulfill(status=500, body="too late")
            else:
                route.continue_()
    page.wait_for_timeout(1500)
    assert page.evaluate(title) == expected
    assert "too late" not in page.inner_text("#said")
    assert page.get_attribute("#main", "aria-busy") is None
    # The address that was left can be opened all the same.
    page.unroute("**/part.json*page=%2Fsurvival*")
    page.click("nav a >> text=How long they last")
    page.wait_for_function("was => document.querySelector('main h1').textContent !== was", arg=expected)
    page.context.close()


@contextlib.contextmanager
def running(study: Path, port: int = 0) -> Iterator[tuple[Session, int]]:
    """A dashboard of its own; afterwards it is as if it had never run."""
    session = Session(open_study(study))
    server = WebServer(build_app(session).server, "127.0.0.1", port)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield session, server.port
    server.close()
    thread.join(20)
    session.close()


@pytest.mark.browser
def test_words_outlive_the_server_and_are_of_one_study(chromium, demo_study, tmp_path):
    """One tab; the server is started anew on the same study, and then on another one, at the same address."""
    one, other = tmp_path / "one.duckdb", tmp_path / "other.duckdb"
    for copy in (one, other):
        shutil.copy(demo_study, copy)
    with running(one) as (session, port):
        address = f"http://127.0.0.1:{port}"
        runs, tuning = (f"{address}/{name}?game=Soot+Wardens" for name in ("runs", "tuning"))
        page = open_page(chromium, address).page
        page.goto(runs)
        page.fill("#run-remark", "held it upside down")
        page.locator("#run-remark").blur()
        page.goto(tuning)
        page.fill("#target-wanted", "55 %")
        page.click("#target-add")
        page.wait_for_selector("#target-wishes:has-text('55 %')")
        assert "55 %" in session.drafts["Soot Wardens"]
    page.wait_for_selector("#gone:not([hidden])")
    with running(one, port) as (session, _):
        page.wait_for_function(HIDDEN)
        page.reload()
        page.wait_for_selector("#target-wishes:has-text('55 %')")
        assert "Not kept yet" in page.inner_text("#target-wishes") and "55 %" in session.drafts["Soot Wardens"]
        page.goto(runs)
        page.wait_for_selector("#run-remark")
        assert page.input_value("#run-remark") == "held it upside down"
        page.goto(tuning)
        page.wait_for_selector("#target-wishes:has-text('55 %')")
    page.wait_for_selector("#gone:not([hidden])")
    with running(other, port) as (session, _):
        # The tab shows the other study by itself, and none of what was meant for the first.
        page.wait_for_selector("#target-wishes:not(:has-text('55 %'))", state="attached")
        page.wait_for_selector("#targets-keep")
        assert page.input_value("#target-wanted") != "55 %" and session.drafts == {}
        page.goto(runs)
        page.wait_for_selector("#run-remark")
        assert page.input_value("#run-remark") == ""
    page.context.close()
