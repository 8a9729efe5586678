"""From the death map to the deaths of a place, and from a death to its last seconds: without a browser, then in one."""

import contextlib
import json
import re
from html import unescape
from pathlib import Path
from urllib.parse import quote

import pytest

from analysis.findings.deaths.one_death import place_at
from analysis.selection import Selection
from dashboard.pages.deaths_page import opened_body
from dashboard.web.app import build_app
from dashboard.web.opened import Opened, opened_at
from tests.dashboard.accessible import faults
from tests.dashboard.conftest import open_page, serve
from tests.waiting import until

GAME = Selection("Soot Wardens")
ADDRESS = "/deaths?game=Soot+Wardens&builds=all"
HERE = {"Host": "localhost"}


def shown(session, selection=GAME, **opened):
    """The page as HTML."""
    return unescape("".join(one.html for one in opened_body(session, selection, Opened(**opened))))


def whole(session, selection=GAME):
    return session.finding("deaths.places", selection)


def hottest(session, selection=GAME):
    """A pixel of the place that comes first in the list."""
    cells = whole(session, selection).tables["cells"]
    i = max(range(len(cells["deaths"])), key=lambda i: (cells["hot"][i], cells["deaths"][i]))
    return int(cells["x_px"][i]), int(cells["y_px"][i])


def first_death(session, selection=GAME):
    found = whole(session, selection)
    rows = session.deaths_at(selection, found, place_at(found, *hottest(session, selection))).rows
    return int(rows["run_id"][0]), int(rows["life"][0])


def test_every_place_of_the_map_leads_to_its_deaths_and_every_death_to_its_strip(read_session):
    page = shown(read_session)
    cells = whole(read_session).tables["cells"]
    with_deaths = [f"{x}-{y}" for x, y, n in zip(cells["x_px"], cells["y_px"], cells["deaths"], strict=True) if n]
    assert sorted(re.findall(r'href="/deaths\?game=Soot\+Wardens&builds=all&place=([\d-]+)"', page)) == sorted(
        with_deaths
    )
    place = hottest(read_session)
    page = shown(read_session, place=place)
    listed = read_session.deaths_at(GAME, whole(read_session), place_at(whole(read_session), *place))
    links = re.findall(rf"&place={place[0]}-{place[1]}&death=([\d-]+)", page)
    rows = listed.rows
    assert links == [f"{run}-{life}" for run, life in zip(rows["run_id"], rows["life"], strict=True)]
    assert f"{listed.deaths} deaths of {listed.players} players at {listed.place.words}" in page
    for run, life in zip(rows["run_id"].tolist(), rows["life"].tolist(), strict=True):
        assert 'data-finding="deaths.one"' in shown(read_session, place=place, death=(run, life))


def test_a_cell_of_the_map_carries_the_words_that_the_list_has(read_session):
    client = build_app(read_session).server.test_client()
    drawn = json.loads(client.get(f"/figure/deaths.places.json{ADDRESS[7:]}", headers=HERE).data)
    assert drawn["layout"]["meta"]["opens"] == "place"
    leads = {word for row in drawn["data"][0]["customdata"] for word in row if word}
    page = shown(read_session)
    assert leads == set(re.findall(r"&place=([\d-]+)", page))
    # Opened, the place is framed; framed twice, to be seen on any colour.
    x, y = hottest(read_session)
    marked = json.loads(client.get(f"/figure/deaths.places.json{ADDRESS[7:]}&place={x + 3}-{y + 3}", headers=HERE).data)
    before, after = drawn["layout"].get("shapes", []), marked["layout"]["shapes"]
    assert len(after) == len(before) + 2 and {(one["x0"], one["y0"]) for one in after[-2:]} == {(x, y)}


@pytest.mark.parametrize("name", ["deaths.places_by_cause", "deaths.places_by_stage"])
def test_the_small_maps_lead_to_the_same_places(read_session, name):
    client = build_app(read_session).server.test_client()
    drawn = json.loads(client.get(f"/figure/{name}.json{ADDRESS[7:]}", headers=HERE).data)
    assert drawn["layout"]["meta"] == {"opens": "place"}
    leads = {word for part in drawn["data"] for row in part["customdata"] for word in row if word}
    assert leads == set(re.findall(r"&place=([\d-]+)", shown(read_session)))


def test_the_dots_of_other_figures_open_their_deaths(read_session):
    name = "deaths.circumstances"
    client = build_app(read_session).server.test_client()
    drawn = json.loads(client.get(f"/figure/{name}.json{ADDRESS[7:]}", headers=HERE).data)
    assert drawn["layout"]["meta"] == {"opens": "death"}
    table = read_session.finding(name, GAME).tables["deaths"]
    assert sum(len(dots["customdata"]) for dots in drawn["data"]) == len(table) > 0
    for dots in drawn["data"]:
        mine = table[table["circumstance"] == dots["name"]]
        for word, player in zip(dots["customdata"], mine["player"], strict=True):
            run, life = opened_at(f"?death={word}").death
            assert read_session.one_death(GAME, run, life).facts["player"] == player


def test_the_filter_is_obeyed_and_what_it_leaves_out_is_said(read_session):
    run, life = first_death(read_session)
    player = read_session.one_death(GAME, run, life).facts["player"]
    others = Selection("Soot Wardens", players=tuple(p for p in ("P01", "P02", "P03") if p != player))
    page = shown(read_session, others, death=(run, life))
    assert "not among the chosen runs" in page and 'data-finding="deaths.one"' not in page
    mine = Selection("Soot Wardens", players=(player,))
    page = shown(read_session, mine, place=hottest(read_session), death=(run, life))
    assert "of 1 player at" in page and 'data-finding="deaths.one"' in page
    assert "None of the chosen runs has a death at the place" in shown(read_session, place=(0, 0))


def test_the_neighbours_are_those_of_the_list(read_session):
    place = hottest(read_session)
    rows = read_session.deaths_at(GAME, whole(read_session), place_at(whole(read_session), *place)).rows
    deaths = list(zip(rows["run_id"].tolist(), rows["life"].tolist(), strict=True))
    first, last = (shown(read_session, place=place, death=deaths[i]) for i in (0, -1))
    assert "The next death" in first and "The death before" not in first
    assert "The next death" not in last and "The death before" in last
    lone = shown(read_session, death=deaths[1])
    assert "The next death" not in lone and "Close" in lone


def test_the_strip_is_served_as_figure_and_table_and_only_for_deaths_there_are(read_session):
    client = build_app(read_session).server.test_client()
    run, life = first_death(read_session)
    words = f"{ADDRESS[7:]}&death={run}-{life}"
    assert json.loads(client.get(f"/figure/deaths.one.json{words}&theme=dark", headers=HERE).data)["data"]
    sheet = client.get(f"/table/deaths.one/events.csv{words}", headers=HERE).data.decode()
    sentence = read_session.one_death(GAME, run, life).sentence
    assert sheet.startswith("# The last 5 seconds") and sentence in sheet and "\r\nposition," in sheet
    for none in ("", "&death=999999-1", "&death=x"):
        assert client.get(f"/figure/deaths.one.json{ADDRESS[7:]}{none}", headers=HERE).status_code == 404
        assert client.get(f"/table/deaths.one/events.csv{ADDRESS[7:]}{none}", headers=HERE).status_code == 404


def test_the_figures_of_an_opened_death_come_along_with_its_page(read_session):
    client = build_app(read_session).server.test_client()
    run, life = first_death(read_session)
    search = f"?game=Soot+Wardens&builds=all&death={run}-{life}"
    answer = client.get(f"/part.json?page=/deaths&search={quote(search)}&shown=deaths.one", headers=HERE)
    figures = json.loads(answer.data)["figures"]
    assert [address for address in figures if f"/deaths.one.json{search}" in address]


def test_the_run_of_a_death_is_marked_in_the_list_of_runs(read_session):
    client = build_app(read_session).server.test_client()
    run, _ = first_death(read_session)
    table = client.get(f"/runs.html?game=Soot+Wardens&run={run}", headers=HERE).data.decode()
    assert table.count('<tr aria-current="true">') == 1
    assert "aria-current" not in client.get("/runs.html?game=Soot+Wardens", headers=HERE).data.decode()


@pytest.fixture(scope="module")
def reading(read_session):
    yield from serve(read_session)


@pytest.mark.browser
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_from_the_map_to_the_last_seconds(chromium, reading, theme):
    watched = open_page(chromium, reading.address, theme)
    page = watched.page
    page.goto(reading.address + ADDRESS)
    card = page.locator("[data-finding='deaths.places']")
    card.locator("[data-drawn] .main-svg").first.wait_for()
    # The middle of the hottest cell, on the screen of 160 x 128 pixels that the map shows.
    x, y = hottest(reading.session)
    cell = int(whole(reading.session).facts["cell_px"])
    board = card.locator(".nsewdrag").first.bounding_box()
    page.mouse.click(
        board["x"] + board["width"] * (x + cell / 2) / 160, board["y"] + board["height"] * (y + cell / 2) / 128
    )
    page.wait_for_function("words => location.search.includes(words)", arg=f"place={x}-{y}")
    place = place_at(whole(reading.session), x, y)
    page.wait_for_selector(f"text={place.deaths} deaths of {place.players} players at {place.words}")
    death = page.locator(".choosing tbody tr").nth(1).locator("a").first
    death.focus()
    page.keyboard.press("Enter")
    strip = page.locator("[data-finding='deaths.one']")
    strip.locator(f"[data-drawn*='theme={theme}'] .main-svg").first.wait_for()
    run, life = map(int, re.search(r"death=(\d+)-(\d+)", page.url).groups())
    sentence = reading.session.one_death(GAME, run, life).sentence
    assert sentence in strip.inner_text() and "own shots" in strip.inner_text()
    # What was opened is in sight, below the filter bar; the focus stays on the link that opened it.
    box = strip.bounding_box()
    assert 0 < box["y"] < 500
    assert page.evaluate("() => document.activeElement.getAttribute('aria-current')") == "true"
    strip.get_by_text("Method and numbers").click()
    for kind, start in (("SVG", b"<svg"), ("PNG", b"\x89PNG"), ("CSV", b"# The last 5 seconds")):
        with page.expect_download() as waiting:
            strip.get_by_text(kind, exact=True).click()
        assert Path(waiting.value.path()).read_bytes().startswith(start), kind
    # The address is the state: it opens the same again, and going back leads back.
    page.reload()
    page.wait_for_selector(f"[data-finding='deaths.one'] [data-drawn*='theme={theme}'] .main-svg")
    assert sentence in page.inner_text("[data-finding='deaths.one']")
    page.wait_for_function(
        "() => document.querySelector('[data-opened]').getBoundingClientRect().top < 0.75 * innerHeight"
    )
    assert faults(page) == []
    # By the keyboard: while figures above are still drawn, what is pressed with the mouse may move away from under it.
    page.locator("text=The next death").press("Enter")
    page.wait_for_function("was => !location.search.includes(was)", arg=f"death={run}-{life}")
    page.go_back()
    page.wait_for_function("sentence => document.querySelector('#main').innerText.includes(sentence)", arg=sentence)
    page.click("text=Close")
    page.wait_for_selector("[data-finding='deaths.one']", state="detached")
    # A dot of another figure leads to its death too.
    again = page.locator("[data-finding='deaths.circumstances']")
    page.locator("[data-key='fold deaths.circumstances'] > summary").press("Enter")
    again.scroll_into_view_if_needed()
    again.locator("[data-leads]").wait_for()
    press_dot(page, again.locator(".points path").first)
    page.wait_for_selector("[data-finding='deaths.one'] .main-svg >> nth=0")
    assert "place=" not in page.url and "death=" in page.url
    assert watched.complaints == []
    page.context.close()


def press_dot(page, dot) -> None:
    """Presses a dot until its death is opened: while figures above are still drawn, it moves away under the mouse."""

    from playwright.sync_api import Error

    def pressed() -> bool:
        with contextlib.suppress(Error):  # it was moved out of sight
            dot.scroll_into_view_if_needed()
            dot.hover(force=True, timeout=5000)
            dot.click(force=True, timeout=5000)
            page.wait_for_function("() => location.search.includes('death=')", timeout=5000)
        return "death=" in page.url

    until(pressed)


@pytest.mark.browser
def test_from_a_death_to_its_run(chromium, reading):
    watched = open_page(chromium, reading.address)
    page = watched.page
    run, life = first_death(reading.session)
    page.goto(f"{reading.address}{ADDRESS}&death={run}-{life}")
    strip = page.locator("[data-finding='deaths.one']")
    strip.locator(".basis-line a").click()
    page.wait_for_selector("tr[aria-current=true]")
    player = reading.session.one_death(GAME, run, life).facts["player"]
    assert page.inner_text("tr[aria-current=true] td >> nth=0") == player
    assert page.input_value("#run-chosen").startswith(f"{player}, attempt")
    assert watched.complaints == []
    page.context.close()
