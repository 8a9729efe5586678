"""Where players die: the findings, and from a place on the map to its deaths and the seconds before each."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from markupsafe import Markup

from analysis.finding import Finding
from analysis.findings import QUESTIONS
from analysis.findings.deaths.one_death import MOST_LISTED, DeathList, Place, place_at, places_with_deaths
from analysis.selection import Selection
from analysis.words import cell, counted
from dashboard.pages.question_pages import Beside, answers, page_of
from dashboard.parts.cards import Shown, card, link
from dashboard.state.dashboard_session import Session
from dashboard.web.filters import to_address
from dashboard.web.html_tables import table
from dashboard.web.opened import NOTHING, Opened
from dashboard.web.templating import part

_PATH, _MAP = "/deaths", "deaths.places"
_TITLE = "The deaths of one place"
# Places that are listed openly, besides all hot ones.
_OPEN_AT_FIRST = 6
_QUESTION = QUESTIONS["deaths"]


def body(session: Session, selection: Selection | None) -> list[Shown]:
    """The findings, with nothing opened."""
    return opened_body(session, selection, NOTHING)


def opened_body(session: Session, selection: Selection | None, opened: Opened) -> list[Shown]:
    """The findings; beside the map the deaths of the place that the address opens, below it the death it opens."""

    def beside(found: list[Finding]) -> Beside:
        assert selection is not None
        whole = found[0] if found[0].id == _MAP else None
        place = None if whole is None or opened.place is None else place_at(whole, *opened.place)
        # Without a map there is nothing to choose a place on, and all deaths are listed.
        listed = session.deaths_at(selection, whole, place) if place is not None or whole is None else None
        below = tuple(_one(session, selection, opened, listed))
        if listed is not None:
            mark = NOTHING if place is None else Opened(place=opened.place)
            return Beside(found[0], mark, (_deaths_of(listed, selection, opened),), below)
        places = _places(places_with_deaths(whole), selection, opened)  # type: ignore[arg-type]
        if opened.place is not None:
            return Beside(found[0], side=(places,), below=below)
        return Beside(found[0], below=below, folded=(("places", _TITLE, places),))

    return answers(_QUESTION, session, selection, beside)


def _address(selection: Selection, opened: Opened, path: str = _PATH) -> str:
    return path + to_address(selection) + opened.words()


def _places(places: list[Place], selection: Selection, opened: Opened) -> Shown:
    """The list that leads to the same places as the map does.

    Only the first ones stand open, so that the keyboard soon comes to what follows.
    """
    listed = places[:MOST_LISTED]
    hot = sum(one.hot for one in listed)
    opened_first = max(hot, _OPEN_AT_FIRST)
    first, rest = listed[:opened_first], listed[opened_first:]
    words = "Press a place on the map, or choose it here, to see who died there and how."
    if opened.place is not None:
        words = f"None of the chosen runs has a death at the place you came for. {words}"
    shown = _listing(_TITLE, _place_columns(first, selection), 0 if rest else len(places) - len(first), "place")
    if rest:
        more = _listing("More places", _place_columns(rest, selection), len(places) - len(listed), "place")
        shown += part("folded", counted(len(places) - len(first), "more place"), more)
    return _list_card(part("note", words, "saying") + shown)


def _place_columns(places: list[Place], selection: Selection) -> dict[str, list[Any]]:
    return {
        "place": [link(one.words, _address(selection, Opened(place=(one.x, one.y)))) for one in places],
        "deaths": [one.deaths for one in places],
        "players": [one.players for one in places],
        "stands out": [part("tag", "hot") if one.hot else "" for one in places],
    }


def _deaths_of(listed: DeathList, selection: Selection, opened: Opened) -> Shown:
    """The deaths of one place, or of a game whose deaths have none."""
    rows = listed.rows
    lines = range(len(rows["run_id"]))
    deaths = [(int(rows["run_id"][i]), int(rows["life"][i])) for i in lines]
    columns: dict[str, list[Any]] = {
        "death": [
            link(
                f"{rows['player'][i]}, life {deaths[i][1]}",
                _address(selection, Opened(opened.place, deaths[i])),
                **({"aria_current": "true"} if deaths[i] == opened.death else {}),
            )
            for i in lines
        ],
        "stage": [rows["stage"][i] for i in lines],
        "cause": [rows["cause"][i] for i in lines],
        "into the run": [f"{cell(float(round(rows['run_s'][i], 1)))} s" for i in lines],
        "run": [
            link(
                f"attempt {rows['attempt'][i]}",
                _address(Selection(selection.game, newest=True), Opened(run=deaths[i][0]), "/runs"),
                data_dash="",
            )
            for i in lines
        ],
    }
    size = f"{counted(listed.deaths, 'death')} of {counted(listed.players, 'player')}"
    if listed.place is None:
        head: str | Markup = (
            f"No death has a place here, so there is no map to choose from: {size}, in the order of the runs."
        )
    else:
        back = link("All places", _address(selection, NOTHING))
        head = Markup("{} at {}. {}.").format(size, listed.place.words, back)
    shown = _listing(_TITLE, columns, listed.deaths - len(deaths), "death")
    # Brought into sight, for it may have been opened from a map further down.
    sight = {"data-opened": opened.words()} if opened.place is not None and opened.death is None else {}
    return _list_card(part("note", head, "saying") + shown, sight)


def _list_card(inside: Markup, more: Mapping[str, str] = MappingProxyType({})) -> Shown:
    return Shown(part("section", _TITLE, inside, "card", {"data-key": "deaths.list", **more}))


def _listing(caption: str, columns: dict[str, list[Any]], left_out: int, noun: str) -> Markup:
    """A table to choose from, and how many lines it leaves out."""
    more = f"{counted(left_out, f'more {noun}')}: choose fewer runs above to see them." if left_out else ""
    return part("choosing", table(columns, caption, scrolls=True), more)


def _one(session: Session, selection: Selection, opened: Opened, listed: DeathList | None) -> list[Shown]:
    """The strip of the death that the address opens."""
    if opened.death is None:
        return []
    found = session.one_death(selection, *opened.death)
    if found is None:
        every = link("Look in every run", _address(Selection(selection.game, include_team=True), opened))
        words = Markup("The death you came for is not among the chosen runs. {}.").format(every)
        said = part("note", words, "saying")
        return [Shown(part("section", "", said, "card wide", {"data-key": "deaths.one"}))]
    strip = card(
        found,
        selection,
        session.version,
        opened=Opened(death=opened.death),
        basis=_basis(found, selection),
        links=_neighbours(selection, opened, listed),
    )
    return [Shown(part("opened", strip.html, opened.words()), strip.figures)]


def _basis(found: Finding, selection: Selection) -> list[str]:
    facts = found.facts
    run = link(
        f"attempt {facts['attempt']} on {facts['build']}",
        _address(Selection(selection.game, newest=True), Opened(run=facts["run_id"]), "/runs"),
        data_dash="",
    )
    parts = [
        facts["player"],
        Markup("their {}").format(run),
        f"life {facts['life']}, {cell(round(facts['alive_s'], 1))} s long",
        facts["stage"],
        facts["cause"],
        f"{cell(round(facts['run_s'], 1))} s into the run",
    ]
    return [part for part in parts if part]


def _neighbours(selection: Selection, opened: Opened, listed: DeathList | None) -> Markup:
    """Links to the deaths before and after it in the list, and to none."""
    links: list[Markup] = []
    if listed is not None and opened.death is not None:
        listed_deaths = list(zip(listed.rows["run_id"].tolist(), listed.rows["life"].tolist(), strict=True))
        here = listed_deaths.index(opened.death) if opened.death in listed_deaths else None
        for words, step in (("The death before", -1), ("The next death", 1)):
            if here is not None and 0 <= here + step < len(listed_deaths):
                address = _address(selection, Opened(opened.place, listed_deaths[here + step]))
                links.append(link(words, address, data_key=words))
    links.append(link("Close", _address(selection, Opened(place=opened.place)), data_key="Close"))
    return Markup("").join(links)


PAGE = page_of(_QUESTION, body, opened_body)
