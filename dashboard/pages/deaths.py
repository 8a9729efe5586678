"""Where players die: the findings, and from a place on the map to its deaths and the seconds before each."""

from typing import Any

from dash import html

from analysis.finding import Finding
from analysis.findings.deaths.one_death import MOST_LISTED, DeathList, Place, place_at, places_with_deaths
from analysis.selection import Selection
from analysis.words import cell, counted
from dashboard.cards import card, note
from dashboard.filters import to_address
from dashboard.opened import NOTHING, Opened
from dashboard.page import Page
from dashboard.pages.questions import EVIDENCE, answers
from dashboard.session import Session
from dashboard.web.tables import table
from dashboard.web.templating import part

_PATH, _MAP = "/deaths", "deaths.places"
# Places that are listed openly, besides all hot ones.
_OPEN_AT_FIRST = 6
_MISSING = [
    "This game logs no deaths. Give an event kind the role `death`, with fields in the roles `x`, `y` and `cause`.",
    "Games without deaths are answered on the pages “How they play” and “Hit the note”.",
]


def body(session: Session, selection: Selection | None) -> list[Any]:
    """The findings, with nothing opened."""
    return opened_body(session, selection, NOTHING)


def opened_body(session: Session, selection: Selection | None, opened: Opened) -> list[Any]:
    """The findings; after the first, the deaths of the place that the address opens, and the death it opens."""

    def parts_of(finding: Finding, said: frozenset[str]) -> list[Any]:
        assert selection is not None
        if finding is not session.findings("deaths", selection)[0]:
            return [card(finding, selection, session.version, said)]
        whole = finding if finding.id == _MAP else None
        place = None if whole is None or opened.place is None else place_at(whole, *opened.place)
        # Without a map there is nothing to choose a place on, and all deaths are listed.
        listed = session.deaths_at(selection, whole, place) if place is not None or whole is None else None
        mark = NOTHING if place is None else Opened(place=opened.place)
        return [
            card(finding, selection, session.version, said, mark),
            _deaths_of(listed, selection, opened)
            if listed is not None
            else _places(places_with_deaths(whole), selection, opened),  # type: ignore[arg-type]
            *_one(session, selection, opened, listed),
        ]

    return answers("deaths", _MISSING, session, selection, parts_of)


def _address(selection: Selection, opened: Opened, path: str = _PATH) -> str:
    return path + to_address(selection) + opened.words()


def _places(places: list[Place], selection: Selection, opened: Opened) -> html.Section:
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
    section = _list_card(
        "The deaths of one place",
        [html.P(words, className="saying")],
        _place_columns(first, selection),
        0 if rest else len(places) - len(first),
        "place",
    )
    if rest:
        section.children.append(
            html.Details(
                [
                    html.Summary(counted(len(places) - len(first), "more place")),
                    *_listing(
                        "More places", _place_columns(rest, selection), len(places) - len(listed), "place"
                    ),
                ]
            )
        )
    return section


def _place_columns(places: list[Place], selection: Selection) -> dict[str, list[Any]]:
    return {
        "place": [
            part("link", one.words, _address(selection, Opened(place=(one.x, one.y)))) for one in places
        ],
        "deaths": [one.deaths for one in places],
        "players": [one.players for one in places],
        "": [part("tag", "hot") if one.hot else "" for one in places],
    }


def _deaths_of(listed: DeathList, selection: Selection, opened: Opened) -> html.Section:
    """The deaths of one place, or of a game whose deaths have none."""
    rows = listed.rows
    lines = range(len(rows["run_id"]))
    deaths = [(int(rows["run_id"][i]), int(rows["life"][i])) for i in lines]
    columns: dict[str, list[Any]] = {
        "death": [
            part(
                "link",
                f"{rows['player'][i]}, life {deaths[i][1]}",
                _address(selection, Opened(opened.place, deaths[i])),
                {"aria-current": "true"} if deaths[i] == opened.death else {},
            )
            for i in lines
        ],
        "stage": [rows["stage"][i] for i in lines],
        "cause": [rows["cause"][i] for i in lines],
        "into the run": [f"{cell(float(round(rows['run_s'][i], 1)))} s" for i in lines],
        "run": [
            part(
                "link",
                f"attempt {rows['attempt'][i]}",
                _address(Selection(selection.game), Opened(run=deaths[i][0]), "/runs"),
                {"data-dash": "true"},
            )
            for i in lines
        ],
    }
    size = f"{counted(listed.deaths, 'death')} of {counted(listed.players, 'player')}"
    if listed.place is None:
        head = [
            html.P(
                f"No death has a place here, so there is no map to choose from: {size}, in the order of the runs.",
                className="saying",
            )
        ]
    else:
        back = html.A("All places", href=_address(selection, NOTHING))
        head = [html.P([f"{size} at {listed.place.words}. ", back, "."], className="saying")]
    # Brought into sight, for it may have been opened from a map further down.
    sight = {"data-opened": opened.words()} if opened.place is not None and opened.death is None else {}
    return _list_card("The deaths of one place", head, columns, listed.deaths - len(deaths), "death", **sight)


def _list_card(
    title: str, head: list[Any], columns: dict[str, list[Any]], left_out: int, noun: str, **more: Any
) -> html.Section:
    return html.Section(
        [html.H2(title), *head, *_listing(title, columns, left_out, noun)],
        className="card",
        key="deaths.list",
        **more,
    )


def _listing(caption: str, columns: dict[str, list[Any]], left_out: int, noun: str) -> list[Any]:
    """A table to choose from, and how many lines it leaves out."""
    parts: list[Any] = [html.Div(table(columns, caption, scrolls=True), className="choosing")]
    if left_out:
        parts.append(note(f"{counted(left_out, f'more {noun}')}: choose fewer runs above to see them."))
    return parts


def _one(session: Session, selection: Selection, opened: Opened, listed: DeathList | None) -> list[Any]:
    """The strip of the death that the address opens."""
    if opened.death is None:
        return []
    found = session.one_death(selection, *opened.death)
    if found is None:
        every = html.A(
            "Look in every run", href=_address(Selection(selection.game, include_team=True), opened)
        )
        words = html.P(
            ["The death you came for is not among the chosen runs. ", every, "."], className="saying"
        )
        return [html.Section([words], className="card wide", key="deaths.one")]
    strip = card(
        found, selection, session.version, opened=Opened(death=opened.death), basis=_basis(found, selection)
    )
    strip.children.insert(2, _neighbours(selection, opened, listed))
    return [html.Div(strip, className="wide", key="opened", **{"data-opened": opened.words()})]


def _basis(found: Finding, selection: Selection) -> list[Any]:
    facts = found.facts
    run = html.A(
        f"attempt {facts['attempt']} on {facts['build']}",
        href=_address(Selection(selection.game), Opened(run=facts["run_id"]), "/runs"),
        **{"data-dash": True},
    )
    parts = [
        facts["player"], ["their ", run], f"life {facts['life']}, {cell(round(facts['alive_s'], 1))} s long",
        facts["stage"], facts["cause"], f"{cell(round(facts['run_s'], 1))} s into the run",
    ]  # fmt: skip
    return [html.Span(part) for part in parts if part]


def _neighbours(selection: Selection, opened: Opened, listed: DeathList | None) -> html.P:
    """Links to the deaths before and after it in the list, and to none."""
    links: list[Any] = []
    if listed is not None and opened.death is not None:
        listed_deaths = list(zip(listed.rows["run_id"].tolist(), listed.rows["life"].tolist(), strict=True))
        here = listed_deaths.index(opened.death) if opened.death in listed_deaths else None
        for words, step in (("The death before", -1), ("The next death", 1)):
            if here is not None and 0 <= here + step < len(listed_deaths):
                links.append(
                    html.A(
                        words,
                        href=_address(selection, Opened(opened.place, listed_deaths[here + step])),
                        key=words,
                    )
                )
    links.append(html.A("Close", href=_address(selection, Opened(place=opened.place)), key="Close"))
    return html.P(links, className="neighbours")


PAGE = Page(
    path=_PATH,
    group=EVIDENCE,
    short="Where they die",
    title="Where do they die?",
    lead="Places, causes and stages of death, on the console's own screen.",
    body=body,
    opened_body=opened_body,
)
