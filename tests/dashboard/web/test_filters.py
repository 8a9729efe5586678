"""The filter: what the address keeps, and what it makes of nonsense."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from analysis.selection import Selection
from dashboard.web.filter_bar import filter_bar
from dashboard.web.filters import Choices, from_address, in_words, to_address

GAMES = ("Moth & Run", "b=c?d")
TEXT = st.text(st.characters(blacklist_categories=("Cs",)), min_size=1, max_size=20)


@st.composite
def selections(draw):
    stage = draw(st.none() | st.integers(0, 99999))
    first = draw(st.none() | st.integers(1, 99))
    last = draw(st.none() | st.integers(1, 99))
    if last is not None and first is None:
        first = 1  # "up to the third" is said as "first to third"
    builds = tuple(draw(st.lists(TEXT, max_size=3)))
    return Selection(
        game=draw(st.sampled_from(GAMES)),
        builds=builds,
        newest=not builds and draw(st.booleans()),
        stage=stage,
        stage_kind=None if stage is None else draw(st.none() | st.sampled_from((0, 1))),
        players=tuple(draw(st.lists(TEXT, max_size=3))),
        groups=tuple(draw(st.lists(TEXT, max_size=2))),
        first_attempt=first,
        last_attempt=last,
        include_team=draw(st.booleans()),
    )


@given(selections())
def test_the_address_keeps_every_selection(selection):
    assert from_address(to_address(selection), GAMES) == selection


@given(st.text(max_size=200))
def test_any_address_means_some_selection(search):
    selection = from_address(search, GAMES)
    assert selection is not None and selection.game in GAMES
    assert from_address(to_address(selection), GAMES) == selection


def test_no_game_no_selection():
    assert from_address("?game=x", ()) is None


def links(selection, choices):
    """Every link of the filter bar: (words, address)."""
    picks, makers = filter_bar("/deaths", selection, choices)
    return [*[(words, address) for pick in picks for words, address, _ in pick.options], makers]


def test_every_choice_is_a_link_to_its_address():
    before = Selection(GAMES[0], builds=("1.0",), stage=2, stage_kind=1, players=("P01",), include_team=True)
    choices = Choices(GAMES, ("1.0", "1.1"), ((1, 0), (2, 0), (2, 1)), ("P01", "P02"))
    after = {words: from_address(address.removeprefix("/deaths"), GAMES) for words, address in links(before, choices)}
    assert after["1.1"] == replace(before, builds=("1.0", "1.1"))
    assert after["1.0"] == after["the newest"] == replace(before, builds=(), newest=True)
    assert after["all together"] == replace(before, builds=())
    assert after["P02"] == replace(before, players=("P01", "P02"))
    assert after["every stage"] == replace(before, stage=None, stage_kind=None)
    assert after["Stage 2"] == replace(before, stage_kind=None)
    assert after["the first"] == replace(before, first_attempt=1, last_attempt=1)
    assert after["☑ the makers too"] == replace(before, include_team=False)
    # Another game has other builds, stages and players.
    assert after[GAMES[1]] == Selection(GAMES[1], include_team=True, newest=True)


def test_groups_of_players_are_offered_where_there_are_any():
    before = Selection(GAMES[0])
    after = dict(links(before, Choices(GAMES, groups=("class", "beginners"))))
    assert from_address(after["class"].removeprefix("/deaths"), GAMES) == replace(before, groups=("class",))
    assert "beginners" in after
    assert "class" not in dict(links(before, Choices(GAMES)))


def test_a_selection_in_words():
    chosen = Selection(GAMES[0], builds=("1.0",), stage=2, stage_kind=1, players=("P01",), first_attempt=2)
    assert in_words(chosen) == (
        "Moth & Run: build 1.0, stage 2, boss, players P01, attempts 2-, without the makers' own runs"
    )


def test_an_endless_address_is_cut_short():
    selection = from_address("?game=b%3Dc%3Fd&" + "player=P01&" * 5000, GAMES)
    assert selection is not None and selection.game == "b=c?d" and len(selection.players) < 400
