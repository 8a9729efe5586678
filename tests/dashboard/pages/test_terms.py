"""Terms: what is linked exists, once a page, and the text of a page stays as it is."""

import json
import re
from html import unescape

import pytest

from analysis.methods.terms import TERMS
from dashboard.pages import PAGES
from dashboard.web.app import build_app
from dashboard.web.templating import prose
from dashboard.web.term_links import PATH, linking

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


def test_only_a_page_that_is_written_links_and_texts_stay_as_they_are():
    text = "An interval of `median` <b>, 95 % interval; the median."
    assert "term" not in prose(text)
    with linking("?game=<A>"):
        made = str(prose(text))
    assert unescape(re.sub(r"<[^>]*>", "", made)) == text.replace("`", "")
    assert [key for key, _ in re.findall(r'#(\w+)"[^>]*>(\w+)<', made)] == ["interval", "median"]
    assert "<A>" not in made, "what an address says is no markup"
    assert "term" not in prose(text)
