"""The shell: what its templates make of texts, and the part of a page that the browser asks for."""

import json
from html.parser import HTMLParser
from urllib.parse import quote

import pytest
from markupsafe import Markup

from analysis.selection import Selection
from dashboard.pages import PAGES
from dashboard.web.app import build_app
from dashboard.web.templating import part

HERE = {"Host": "localhost"}


class Read(HTMLParser):
    """Takes down the elements with their attributes, and the texts, as any browser would read them."""

    def __init__(self, markup):
        super().__init__()
        self.elements, self.texts, self.depth = [], [], 0
        self.feed(markup)

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.texts.append(data)


def test_every_text_and_every_attribute_of_a_template_is_escaped():
    nasty = "</p><script>alert(1)</script> & \"'"
    made = part("section", nasty, part("link", nasty, "/x?a=1&b=2", {"title": nasty}), nasty, {"data-key": "k"})
    read = Read(made)
    assert [tag for tag, _ in read.elements] == ["section", "h2", "a"]
    assert read.elements[0][1] == {"class": nasty, "data-key": "k"}
    assert read.elements[2][1] == {"href": "/x?a=1&b=2", "title": nasty}
    assert "".join(text for text in read.texts if text.strip()).strip() == nasty + nasty
    assert Markup("{}").format(part("note", Markup("<b>bold</b>"))).strip() == '<p class="note"><b>bold</b></p>'


def asked(client, page, search="", **more):
    words = "".join(f"&{key}={quote(value)}" for key, value in more.items())
    answer = client.get(f"/part.json?page={quote(page)}&search={quote(search)}{words}", headers=HERE)
    assert answer.status_code == 200
    return json.loads(answer.data)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.path)
def test_a_part_holds_what_the_page_shows(read_session, page):
    client = build_app(read_session).server.test_client()
    part = asked(client, page.path, "?game=Soot+Wardens", theme="dark")
    assert part["title"].startswith(page.title) and part["version"] == read_session.version
    assert part["kind"] == ("reading" if page.reading else "working")
    assert (page.title in part["reading"]) == page.reading
    assert bool(part["filter-bar"]) == page.filtered
    current = [words for tag, words in Read(part["navigation"]).elements if "aria-current" in words]
    assert len(current) == (page.question != "timing")  # no song is played in this game
    assert 'href="/deaths?game=Soot+Wardens"' in part["navigation"]


def test_the_figures_in_view_come_along(read_session):
    client = build_app(read_session).server.test_client()
    first = asked(client, "/deaths", "?game=Soot+Wardens", theme="dark")["figures"]
    assert len(first) == 2 and next(iter(first)).startswith("/figure/deaths.places.json?game=Soot+Wardens")
    for address, figure in first.items():
        assert figure == json.loads(client.get(f"{address}&theme=dark", headers=HERE).data)
    shown = asked(client, "/deaths", "?game=Soot+Wardens", shown="deaths.by_stage")["figures"]
    assert [address.partition(".json")[0] for address in shown] == ["/figure/deaths.by_stage"]


def test_an_address_that_means_nothing_is_answered(read_session):
    client = build_app(read_session).server.test_client()
    part = asked(client, "/<b>nowhere", "?game=%3Cb%3E&player=%3Cimg%3E")
    assert "There is no such page" in part["reading"] and "<b>" not in part["reading"] + part["navigation"]
    bar = asked(client, "/deaths", "?player=%3Cimg+src%3Dx%3E")
    assert "<img" not in bar["filter-bar"] + bar["reading"]


def test_undo_is_asked_for_and_never_from_elsewhere(own_session):
    client = build_app(own_session).server.test_client()
    run = own_session.ask("runs_listed", game="Soot Wardens", most=1)
    before = own_session.basis(Selection("Soot Wardens")).runs
    own_session.note_run(str(run["capture_key"][0]), int(run["number"][0]), valid=False, reason="fell down")
    told = json.loads(client.get("/state.json", headers=HERE).data)
    assert told == {"version": own_session.version, "undo": "the note on a run", "study": own_session.known_as}
    assert client.post("/undo", headers=HERE | {"Origin": "http://evil.example"}).status_code == 403
    assert client.get("/undo", headers=HERE).data.startswith(b"<!DOCTYPE")  # a link cannot do it
    assert own_session.last_change is not None
    assert json.loads(client.post("/undo", headers=HERE).data) == {"done": "the note on a run"}
    assert own_session.basis(Selection("Soot Wardens")).runs == before
