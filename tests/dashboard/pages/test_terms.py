"""Terms: what is linked exists, once a page, and the text of a page stays as it is."""

import json
import re

import pytest
from markupsafe import Markup

from analysis.methods.terms import TERMS
from dashboard.pages import PAGES
from dashboard.parts.term_links import PATH, linked
from dashboard.web.app import build_app

HERE = {"Host": "127.0.0.1"}
LINK = re.compile(rf'<a href="{PATH}[^"#]*#(\w+)" class="term">(.*?)</a>')


@pytest.fixture(scope="module")
def pages(read_session):
    """Path with game -> HTML of the page, of those that are only read."""
    client = build_app(read_session).server.test_client()

    def html(path, game):
        asked = {"page": path, "search": f"?game={game}&builds=all"}
        return json.loads(client.get("/part.json", query_string=asked, headers=HERE).data)["reading"]

    return {(page.path, game): html(page.path, game) for page in PAGES if page.reading for game in read_session.games()}


def test_terms_that_are_linked_exist_and_are_linked_once_a_page(pages):
    count = 0
    for where, html in pages.items():
        keys = [key for key, _ in LINK.findall(html)]
        assert len(keys) == len(set(keys)), where
        for key, words in LINK.findall(html):
            assert words.lower() in TERMS[key].words, where
        count += len(keys)
    assert count > 20


def test_terms_are_words_of_the_pages_and_none_stands_for_two():
    words = [word for term in TERMS.values() for word in term.words]
    assert len(words) == len(set(words)) and all(word == word.lower() for word in words)


@pytest.mark.parametrize("key", ["interval", "certainty", "counted", "drawn", "chance", "median"])
def test_what_pages_say_most_is_linked_somewhere(pages, key):
    assert any(key in dict(LINK.findall(html)) for html in pages.values())


def test_the_page_of_terms_has_them_all(pages):
    html = next(html for (path, _), html in pages.items() if path == PATH)
    assert all(f'id="{key}"' in html for key in TERMS)


def test_linking_leaves_the_text_and_what_is_a_link_already():
    page = Markup(
        '<p class="saying">An interval <a href="/x">of an interval</a>, <code>median</code>.</p><p>median</p>'
    )
    made = linked(page, "?game=<A>")
    assert re.sub(r"<[^>]*>", "", made) == re.sub(r"<[^>]*>", "", page)
    assert [key for key, _ in re.findall(r'#(\w+)"[^>]*>(\w+)<', made)] == ["interval"]
    assert "<A>" not in made, "what an address says is no markup"
