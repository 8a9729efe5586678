"""What people do on the pages, done in a real browser: import, note, propose, accept, record, report."""

import io
import json
import os
import re
import threading
import time
import zipfile
from pathlib import Path

import pytest

from analysis.selection import Selection
from dashboard.pages import PAGES
from tests.dashboard.conftest import DEMO, open_page
from tests.needs import need
from tests.waiting import until

pytestmark = pytest.mark.browser


@pytest.fixture
def at(chromium, served):
    """A watched page of a dashboard that may be changed; nothing may have complained at the end."""
    watched = open_page(chromium, served.address, size=(1280, 900))
    yield served, watched.page
    assert watched.complaints == []
    watched.page.context.close()


def said(page, words: str) -> None:
    page.wait_for_function(
        "words => [...document.querySelectorAll('.message')].some(place => place.innerText.includes(words))", arg=words
    )


POLL_S = 0.7  # how often a page asks whether the study has changed, and a console's card how it stands
CARDS_OWN = ("live-consoles", "live-state")


def asked_meanwhile(page, polls: int = 4) -> tuple[list[str], list[str], float]:
    """What the browser asks for while nothing happens: addresses, and of Dash's questions the outputs; and how often a
    page asks in the time that it took.
    """
    addresses, outputs = [], []

    def take_down(request) -> None:
        path = request.url.partition("?")[0].rsplit("/", 1)[-1]
        if path == "_dash-update-component":
            outputs.append(request.post_data_json["output"])
        else:
            addresses.append(path)

    began = time.monotonic()
    page.on("request", take_down)
    page.wait_for_timeout(1000 * POLL_S * polls)
    page.remove_listener("request", take_down)
    return addresses, outputs, (time.monotonic() - began) / POLL_S


def keeps_quiet(page, cards: int = 0, polls: int = 4) -> None:
    """A page of a study that does not change asks for nothing but whether it has, and for how its consoles stand."""

    def others(outputs: list[str]) -> list[str]:
        return [output for output in outputs if not any(own in output for own in CARDS_OWN)]

    def drawn() -> bool:
        addresses, outputs, _ = asked_meanwhile(page, 2)
        return set(addresses) <= {"state.json"} and not others(outputs)

    until(drawn)  # what is still being drawn asks too
    addresses, outputs, times = asked_meanwhile(page, polls)
    assert set(addresses) == {"state.json"} and len(addresses) <= times + 1
    assert others(outputs) == []
    # Each poll of the page of consoles asks which there are, and how each of them stands.
    assert len(outputs) <= (1 + cards) * (times + 1) if page.url.endswith("/live") else outputs == []


def test_logs_are_imported_with_a_verdict_on_each(at, tmp_path):
    served, page = at
    nonsense = tmp_path / "<b>nonsense.playlog"
    nonsense.write_bytes(bytes(range(256)) * 8)
    page.goto(f"{served.address}/import")
    page.set_input_files("#import-drop input[type=file]", [DEMO / "crate_loft_a_table1.playlog", nonsense])
    page.wait_for_selector("#import-result li:nth-child(2)")
    # The table below is that of the study, without a reload.
    page.wait_for_function("() => document.querySelector('#import-held').innerText.includes('crate_loft_a_table1')")
    assert page.inner_text("#import-held h2") == "In the study: 6 logs"
    bad, good = page.locator("#import-result li").all_inner_texts()  # by name
    assert "intact, new" in good and "runs" in good
    assert "<b>nonsense" in bad and "not taken in. In 2,048 bytes" in bad and "baud rate" in bad
    assert "Crate Loft" in served.session.games()
    page.set_input_files("#import-drop input[type=file]", [DEMO / "crate_loft_a_table1.playlog"])
    page.wait_for_function("() => document.querySelector('#import-result').innerText.includes('unchanged')")


def test_a_run_is_marked_and_the_mark_undone(at):
    served, page = at
    selection = Selection("Soot Wardens")
    before = served.session.basis(selection)
    page.goto(f"{served.address}/runs?game=Soot+Wardens")
    page.wait_for_selector(".served table")
    page.fill("#run-chosen", page.get_attribute("#runs-known option >> nth=0", "value"))
    page.fill("#run-reason", "=somebody <i>pulled</i> the cable")
    page.click("#run-mark")
    said(page, "Kept")
    page.wait_for_selector("tr.struck")
    assert "not valid: =somebody <i>pulled</i> the cable" in page.inner_text("tr.struck")
    assert served.session.basis(selection).runs == before.runs - 1
    page.click("#undo")
    said(page, "Taken back")
    page.wait_for_function("() => !document.querySelector('tr.struck')")
    assert served.session.basis(selection) == before


ACROSS = "() => document.querySelector('#map-across input:checked').closest('label').innerText.trim()"


def test_from_a_target_to_the_header(at):
    served, page = at
    page.goto(f"{served.address}/tuning?game=Soot+Wardens")
    page.fill("#target-outcome", "reach stage …")
    page.fill("#target-which", "2")
    page.fill("#target-wanted", "ninety")
    page.click("#target-add")
    page.wait_for_function("() => document.querySelector('#message').innerText.length > 10")
    page.fill("#target-wanted", "90 %")
    page.click("#target-add")
    page.wait_for_function("() => document.querySelector('#targets-text').value.includes('90 %')")
    page.wait_for_function("() => document.querySelector('#target-wishes').innerText.includes('90 %')")
    page.fill("#target-which", "3")
    page.fill("#target-wanted", "35 %")
    page.click("#target-add")
    page.wait_for_function("() => document.querySelector('#target-wishes').innerText.includes('35 %')")
    page.locator("summary", has_text="The wishes as a file").click()
    page.click("#targets-keep")
    said(page, "The targets are kept")
    page.locator("summary", has_text="The wishes as a file").click()
    page.click("#tuning-propose")
    page.click("#tuning-cancel")
    page.wait_for_function("() => document.querySelector('#tuning-progress').innerText.includes('Cancelled')")
    page.click("#tuning-propose")
    page.wait_for_selector(".answer-line")
    page.locator("[data-figure^='/way/']").first.scroll_into_view_if_needed()
    page.wait_for_selector("[data-drawn^='/way/']")
    # With two targets too, what to do and the ways to choose from are seen together.
    ways = "[...document.querySelectorAll('.way-column')].slice(0, 3).map(one => one.getBoundingClientRect().bottom)"
    assert page.evaluate(f"() => scrollY + Math.max(...{ways})") <= 720
    for folded in ("Try your own values", "Every way in numbers", "A closer look"):
        page.locator("summary", has_text=folded).click()
    page.locator("[data-figure^='/proposal/']").first.scroll_into_view_if_needed()
    page.wait_for_selector("[data-drawn^='/proposal/']")
    page.locator("button", has_text="Accept").first.click()
    said(page, "Kept")
    kept = served.session.connection.cursor().execute("SELECT count(*) FROM predictions").fetchall()
    assert kept == [(1,)]
    with page.expect_download() as waiting:
        page.locator("a", has_text="C header").first.click()
    text = Path(waiting.value.path()).read_text(encoding="utf-8")
    now, proposed = page.locator("main [id^='proposal-'] table tbody tr").first.locator("td").all_inner_texts()[1:3]
    proposed = proposed.replace(",", "")  # the page writes 1,840, the header and fields 1840
    assert re.search(rf"#define TUNED_\w+ +\(?{proposed}\)?\b", text) and now != proposed
    slider = page.locator(".sliders [role=slider]").first
    slider.scroll_into_view_if_needed()
    slider.focus()
    before = page.inner_text(".tried")
    page.keyboard.press("ArrowRight")
    page.wait_for_function("before => document.querySelector('.tried').innerText != before", arg=before)
    page.click("#map-draw")
    page.locator("#map-result [data-figure]").scroll_into_view_if_needed()
    page.wait_for_selector("#map-result [data-drawn]")
    squares = page.locator("#map-result .heatmaplayer text").count()
    assert squares > 8 and f"Of {squares} settings" in page.inner_text("#map-result")
    page.locator("#map-up input:checked").focus()
    page.locator("#map-up label", has_text=page.evaluate(ACROSS)).click()
    page.click("#map-draw")
    page.wait_for_function("() => document.querySelector('#map-progress').innerText.includes('two different')")
    page.click("#otherwise-refit")
    page.wait_for_selector("#otherwise-result table")
    rows = page.locator("#otherwise-result tbody tr").all_inner_texts()
    assert "as they are" in rows[0] and len(rows) > 3 and len({row.split("\t")[2] for row in rows}) > 3
    check = page.locator("a", has_text="Plan the check").first.get_attribute("href")
    # What stands there answers what was asked last: after a Propose that is refused, nothing does.
    wishes = ('outcome = "finish"\nwanted = 0.7\n', 'outcome = "reach_stage"\nstage = 2\nwanted = 0.3\n')
    page.locator("summary", has_text="The wishes as a file").click()
    page.fill("#targets-text", "".join(f"[[target]]\n{wish}" for wish in wishes))
    page.click("#tuning-propose")
    said(page, "cannot both be reached")
    page.wait_for_function("() => !document.querySelector('#tuning-result').innerText.trim()")
    assert page.locator(".answer-line").count() == 0
    # The check of a proposal is planned with its values.
    page.goto(f"{served.address}{check}")
    page.wait_for_function(f"() => document.querySelector('#plan-against')?.value.includes('={proposed}')")


def _is_read_from_the_table(page, place: str, text: str, *sizes: tuple[int, int]) -> None:
    """It stands in the first screenful, in letters of 40 px or more."""
    for width, height in sizes:
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_selector(f"dl.large > div:has-text('{text}')")
        # Asked in one go: the page may put another in its place between two questions.
        right, bottom, letters = page.locator(place).evaluate(
            "one => { const box = one.getBoundingClientRect();"
            " return [box.right, box.bottom, parseFloat(getComputedStyle(one).fontSize)]; }"
        )
        assert 0 < bottom <= height and 0 < right <= width, (place, right, bottom)
        assert letters >= 40
    page.set_viewport_size({"width": 1280, "height": 720})


def test_a_console_is_followed_while_it_plays(at):
    need(hasattr(os, "openpty"), "this system has no pseudo-terminals")
    import tty

    served, page = at
    game, console = os.openpty()
    tty.setraw(console)
    log = (DEMO / "crate_loft_a_table1.playlog").read_bytes()
    stop = threading.Event()

    def play() -> None:
        for i in range(0, len(log), 400):
            if stop.is_set():
                return
            os.write(game, log[i : i + 400])
            time.sleep(0.01)

    page.goto(f"{served.address}/live")
    page.fill("#live-port", os.ttyname(console))
    page.click("#live-start")
    page.wait_for_selector(".consoles .card")
    page.get_by_label("Player tag").fill("p44")
    page.get_by_role("button", name="Plays next").click()
    said(page, "P44 plays the next run")
    page.wait_for_selector("#live-recent [data-drawn]")
    _is_read_from_the_table(page, ".consoles .large dd >> nth=0", "P44", (1280, 720), (390, 844))
    _is_read_from_the_table(page, "#live-last dd", "Tin Drizzle", (1280, 720))
    keeps_quiet(page, cards=1)
    player = threading.Thread(target=play)
    player.start()
    try:
        page.wait_for_selector("text=Crate Loft")
        # The figure of the last runs holds runs that are still being sent.
        page.wait_for_selector("#live-recent [data-drawn] .bars path")
        assert player.is_alive() or served.session.ask("study_games")["runs"].sum() > 0
        page.wait_for_selector("#live-last dt:has-text('Crate Loft')")
        page.get_by_label("Remark on the run").fill("held it upside down")
        page.get_by_text("Note it").click()
        said(page, "Noted")
    finally:
        player.join(60)
        stop.set()
    page.get_by_text("Stop recording").click()
    said(page, "Stopped")
    page.wait_for_selector("text=stopped")
    until(lambda: len(served.session.ask("runs_listed", game="Crate Loft", most=1000)["run_id"]) == 22)
    runs = served.session.ask("runs_listed", game="Crate Loft", most=1000)
    assert runs["player"][list(runs["number"]).index(min(runs["number"]))] == "P44"
    kept = list((served.session.captures.folder).glob("*.playlog"))
    assert [path.read_bytes() for path in kept] == [log]
    os.close(game)
    os.close(console)
    # The study has changed many times, and now it does not any more.
    for one in (one for one in PAGES if not one.reading):
        page.click(f'nav a[href^="{one.path}"]')
        page.wait_for_selector(f"#working h1:text-is({json.dumps(one.title)})")
        keeps_quiet(page, cards=1)


def test_the_report_is_written_from_the_page(at):
    served, page = at
    page.goto(f"{served.address}/report?game=Tin+Drizzle")
    page.fill("#report-title", "Rain <on> tin")
    page.fill("#report-consent", "Everybody was asked.")
    page.focus("#report-authors")
    page.wait_for_selector("text=Kept in the study")  # the first field, as soon as the second was gone to
    page.reload()
    page.wait_for_selector("#report-title")
    assert page.input_value("#report-title") == "Rain <on> tin"
    page.click("#report-write")
    page.wait_for_selector("text=The report is written", timeout=180_000)
    assert served.session.words() == {
        "title": "Rain <on> tin",
        "authors": "",
        "question": "",
        "playtest": "",
        "consent": "Everybody was asked.",
        "contributions": "",
        "interpretation": "",
    }
    with page.expect_download() as waiting:
        page.get_by_text("Everything, as an archive").click()
    content = Path(waiting.value.path()).read_bytes()
    names = zipfile.ZipFile(io.BytesIO(content)).namelist()
    assert {"report/report.html", "report/report.pdf", "report/report.tex", "report/sources.bib"} <= set(names)
    assert any(name.endswith(".svg") for name in names) and any(name.endswith(".tex") for name in names)


def test_pages_open_while_the_study_changes_all_the_time(at):
    """A console that plays changes the study again and again, also before a page is there."""
    served, page = at
    over = threading.Event()

    def play() -> None:
        while not over.wait(0.15):
            served.session.changed()

    playing = threading.Thread(target=play)
    playing.start()
    try:
        for path, shows in (("/plan", "#plan-make"), ("/import", "input[type=file]"), ("/live", ".card")):
            for _ in range(3):
                page.goto(f"{served.address}{path}?game=Soot+Wardens")
                page.wait_for_selector(f"#working {shows}", state="attached")
    finally:
        over.set()
        playing.join()
