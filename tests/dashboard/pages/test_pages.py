"""Every page in a real browser, in both themes: no complaint, nothing from outside, nothing inaccessible."""

import json
import re
from pathlib import Path

import pytest

from dashboard.pages import PAGES
from dashboard.state.dashboard_session import Session
from ingest.study.store import open_study
from tests.dashboard.accessible import faults
from tests.dashboard.conftest import open_page, serve
from tests.waiting import until

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def reading(read_session):
    yield from serve(read_session)


def go(page, path: str) -> None:
    """Follows a link of the navigation, as people do; a page that this game is not asked is come to by its address."""
    link = page.locator(f'nav a[href^="{path}?"], nav a[href="{path}"]')
    if link.count():
        if page.is_visible("#menu"):
            page.click("#menu")
        link.click()
    else:
        page.goto(re.sub(r"//([^/]*)/[^?]*", rf"//\1{path}", page.url))
    page.wait_for_function("path => location.pathname === path", arg=path)
    page.wait_for_selector(f"main [data-key='{path}'], #working h1:text-is({json.dumps(titled(path))})")


def titled(path: str) -> str:
    """What the page at `path` asks."""
    return next(one.title for one in PAGES if one.path == path)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_every_page_is_sound(chromium, reading, theme):
    watched = open_page(chromium, reading.address, theme)
    page = watched.page
    page.goto(f"{reading.address}/?game=Soot+Wardens")
    page.wait_for_selector("main .cards")
    assert page.get_attribute("html", "data-theme") == theme
    found = {}
    for one in PAGES:
        go(page, one.path)
        if page.query_selector("[data-figure]"):
            page.wait_for_selector("[data-drawn] .main-svg")
        assert "game=Soot+Wardens" in page.url, f"{one.path} lost the filter"
        assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth"), f"{one.path} is too wide"
        found[one.path] = faults(page)
    assert {path: fault for path, fault in found.items() if fault} == {}
    assert watched.complaints == []
    page.context.close()


# A phone, a tablet, and a screen of 1280x720 at 200 %.
@pytest.mark.parametrize("size", [(390, 844), (768, 1024), (640, 360)], ids=str)
def test_pages_need_no_scrolling_sideways(chromium, reading, size):
    watched = open_page(chromium, reading.address, size=size)
    page = watched.page
    page.goto(f"{reading.address}/?game=Tin+Drizzle")
    for one in PAGES:
        go(page, one.path)
        assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth"), f"{one.path} is too wide"
        # The navigation takes two lines of the screen at most, until it is opened.
        assert page.locator(".rail").bounding_box()["height"] <= 80, one.path
    page.focus("#menu")
    page.keyboard.press("Enter")
    page.wait_for_selector("#navigation a")
    assert page.locator("#navigation").bounding_box()["x"] >= 0 and faults(page) == []
    page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.closest('#navigation') !== null")
    page.keyboard.press("Escape")
    page.wait_for_selector("#navigation a", state="hidden")
    assert page.evaluate("() => document.activeElement.id") == "menu"
    assert watched.complaints == []
    page.context.close()


# Below 0.1 nobody minds: web.dev, "Cumulative Layout Shift", the limit of a good page.
JUMPS = """() => {
  window.jumps = 0;
  new PerformanceObserver(list => { for (const one of list.getEntries()) { window.jumps += one.value; } })
    .observe({type: "layout-shift", buffered: true});
}"""


# Names of lines that cover each other or leave their figure, and legends of lines.
UNREADABLE = """() => [...document.querySelectorAll("main .js-plotly-plot")].flatMap(plot => {
  const edge = plot.getBoundingClientRect();
  const words = [...plot.querySelectorAll(".annotation-text")];
  const boxes = words.map(one => [one.textContent, one.getBoundingClientRect()]);
  const cut = boxes.filter(([, b]) => b.right > edge.right + 1 || b.left < edge.left - 1);
  const out = cut.map(([text]) => text + " is cut");
  boxes.forEach(([text, a], i) => boxes.slice(i + 1).forEach(([other, b]) => {
    const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    const up = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    if (across > 1 && up > 4) { out.push(text + " over " + other); }
  }));
  return out;
})"""


@pytest.mark.parametrize("size", [(390, 844), (1280, 720)], ids=str)
def test_nothing_jumps_while_a_page_comes(chromium, reading, size):
    page = open_page(chromium, reading.address, size=size).page
    page.add_init_script(f"({JUMPS})()")
    for path in ("/survival", "/players"):
        page.goto(f"{reading.address}{path}?game=Soot+Wardens")
        page.wait_for_selector("[data-drawn] .main-svg")
        assert page.evaluate("() => window.jumps") < 0.1, path
        # Then with all that was folded.
        page.evaluate("() => { for (const one of document.querySelectorAll('.fold')) { one.open = true; } }")
        page.evaluate("() => window.setscrewFigures.all()")
        assert page.locator(".annotation-text").count() > (10 if path == "/survival" else 0)
        assert page.evaluate(UNREADABLE) == [], path
    page.context.close()


def test_an_empty_study_says_what_to_do(chromium, tmp_path):
    for served in serve(Session(open_study(tmp_path / "empty.duckdb"), tmp_path / "recordings")):
        watched = open_page(chromium, served.address)
        page = watched.page
        page.goto(served.address)
        for one in PAGES:
            go(page, one.path)
            assert page.query_selector("main .empty, main form, main button, main .drop, main .terms"), one.path
        assert faults(page) == [] and watched.complaints == []
        page.context.close()
        served.session.close()


def test_the_address_and_the_filter_bar_agree(chromium, reading):
    watched = open_page(chromium, reading.address)
    page = watched.page
    page.goto(f"{reading.address}/survival?game=Soot+Wardens&builds=all&stage=1b&attempts=1-1&makers=1")
    page.wait_for_selector("[data-finding='survival.curve'] [data-drawn]")
    bar = page.inner_text("#filter-bar")
    assert "Stage 1, boss" in bar and "the first" in bar and "☑ the makers too" in bar
    before = page.inner_text("#basis")
    page.click("#filter-bar >> text=the makers too")
    page.wait_for_function("before => document.querySelector('#basis').innerText !== before", arg=before)
    assert "makers" not in page.url and "stage=1b" in page.url
    page.go_back()
    page.wait_for_function("before => document.querySelector('#basis').innerText === before", arg=before)
    page.click("#filter-bar summary:has(.label:text-is('Stage')) .picked")
    page.click("#filter-bar >> text=every stage")
    page.wait_for_function("() => !location.search.includes('stage')")
    # Of stages one is chosen: the list closes, and the keyboard goes on from it. Of players there may be several.
    page.wait_for_selector("details.pick[open]", state="detached")
    assert "Stage" in page.evaluate("document.activeElement.innerText")
    page.click("#filter-bar summary:has(.label:text-is('Players')) .picked")
    page.click("details.pick[open] a >> text=P02")
    page.wait_for_selector("details.pick[open] li[aria-current] >> text=P02")
    page.click("details.pick[open] a >> text=P03")
    page.wait_for_function("() => location.search.includes('P02') && location.search.includes('P03')")
    assert page.is_visible("details.pick[open] a >> text=P04")
    page.keyboard.press("Escape")
    page.wait_for_selector("details.pick[open]", state="detached")
    assert watched.complaints == []
    page.context.close()


def test_a_card_gives_figure_table_and_method(chromium, reading, tmp_path):
    watched = open_page(chromium, reading.address)
    page = watched.page
    page.goto(f"{reading.address}/deaths?game=Soot+Wardens")
    card = page.locator("[data-finding='deaths.causes']")
    card.locator("[data-drawn]").wait_for()
    card.get_by_text("Method and numbers").click()
    assert re.search(r"\d+ players, \d+ runs", card.inner_text())
    for kind, start in (("SVG", b"<svg"), ("PNG", b"\x89PNG"), ("CSV", b"# What kills")):
        with page.expect_download() as waiting:
            card.get_by_text(kind, exact=True).click()
        assert Path(waiting.value.path()).read_bytes().startswith(start), kind
    assert len(card.locator("details[open] .source").first.inner_text()) > 40
    card.locator("td").first.wait_for()
    # A word that is not an everyday one leads to what it means, and the way back to where it was read.
    term = page.locator("main .term").first
    meant = term.get_attribute("href").partition("#")[2]
    term.click()
    page.wait_for_selector(f"#{meant}.meant")
    page.go_back()
    page.wait_for_selector("[data-finding='deaths.causes']")
    assert watched.complaints == []
    page.context.close()


def test_the_theme_is_remembered(chromium, reading):
    watched = open_page(chromium, reading.address)
    page = watched.page
    page.goto(f"{reading.address}/deaths?game=Soot+Wardens")
    page.wait_for_selector("[data-drawn]")
    page.click("#theme-button")
    page.wait_for_selector("[data-drawn*='theme=dark']")
    page.reload()
    page.wait_for_selector("[data-drawn*='theme=dark']")
    assert page.get_attribute("html", "data-theme") == "dark" and watched.complaints == []
    page.context.close()


def test_the_keyboard_is_enough(chromium, reading):
    watched = open_page(chromium, reading.address)
    page = watched.page
    page.goto(f"{reading.address}/deaths?game=Soot+Wardens")
    page.wait_for_selector("[data-drawn]")
    page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    seen = set()
    # The first places of the list stand between the map's card and the next one.
    for _ in range(35):
        page.keyboard.press("Tab")
        seen.add(page.evaluate("() => document.activeElement.innerText || document.activeElement.tagName"))
    assert {"Method and numbers", "What to change"} <= seen
    page.context.close()


# The page as the server wrote it: without what figures, tables and open lists leave on it.
WRITTEN = """() => {
  const copy = document.querySelector("#reading").cloneNode(true);
  for (const place of copy.querySelectorAll("[data-figure], [data-source]")) {
    place.replaceChildren();
    for (const name of ["style", "class", "data-drawn", "data-in-view"]) { place.removeAttribute(name); }
  }
  for (const list of copy.querySelectorAll("details")) { list.removeAttribute("open"); }
  return copy.innerHTML + document.querySelector("#filter-bar").innerText + document.querySelector("#basis").innerText;
}"""


def test_a_page_come_to_by_links_is_the_page_of_its_address(chromium, reading):
    watched = open_page(chromium, reading.address)
    page = watched.page
    page.goto(f"{reading.address}/players?game=Soot+Wardens")
    page.wait_for_selector("[data-drawn]")
    # One player has fewer figures than all; the next pages have other cards.
    for step in ("player=P01", "/deaths", "player=P02", "/survival", "/trust", "/players"):
        if step.startswith("player"):
            page.evaluate("words => document.querySelector(`#filter-bar a[href*='${words}']`).click()", step)
        else:
            go(page, step)
        page.wait_for_function("() => !document.querySelector('#main').hasAttribute('aria-busy')")
        fresh = open_page(chromium, reading.address).page
        fresh.goto(page.url)
        fresh.wait_for_selector("main .cards")
        # What is fetched after the page may be in one of them and not yet in the other.
        until(lambda page=page, fresh=fresh: page.evaluate(WRITTEN) == fresh.evaluate(WRITTEN))
        fresh.context.close()
    assert watched.complaints == []
    page.context.close()
