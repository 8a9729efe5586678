"""The filter bar. Every choice is a link to the address that makes it, so that the address is the only state."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from analysis.selection import Selection
from dashboard.web.filters import Choices, attempts_word, stage_word, to_address

_ATTEMPTS = {
    (None, None): "every attempt",
    (1, 1): "the first",
    (1, 2): "the first two",
    (1, 3): "the first three",
    (2, None): "after the first",
}
Choice = tuple[str, Selection, bool]
Link = tuple[str, str]


@dataclass(frozen=True)
class Pick:
    """A list to choose from: what it shows, and (words, address, whether it is chosen) of each choice.

    `one`: one of the options is chosen, which closes the list (assets/shell.js); of the others any number may be.
    """

    label: str
    shown: str
    options: tuple[tuple[str, str, bool], ...]
    one: bool = False


def filter_bar(path: str, selection: Selection, choices: Choices) -> tuple[list[Pick], Link]:
    """The lists that show `selection` and offer `choices` on the page at `path`, and the link for the makers' runs."""

    def pick(label: str, shown: str, options: Iterable[Choice], one: bool = False) -> Pick:
        links = tuple((words, path + to_address(after), chosen) for words, after, chosen in options)
        return Pick(label, shown, links, one)

    def some(label: str, name: str, offered: tuple[str, ...]) -> Pick:
        return pick(label, ", ".join(getattr(selection, name)) or f"all {name}", _some(selection, name, offered))

    picks = [
        pick("Game", selection.game, _games(selection, choices), one=True),
        pick("Build", _build_words(selection), _builds(selection, choices.builds)),
        pick("Stage", _stage_words(selection), _stages(selection, choices), one=True),
        some("Players", "players", choices.players),
        # In a study that has any.
        *([some("Groups", "groups", choices.groups)] if choices.groups or selection.groups else []),
        pick("Attempts", _attempts_words(selection), _attempts(selection), one=True),
    ]
    after = replace(selection, include_team=not selection.include_team)
    words = "☑ the makers too" if selection.include_team else "☐ the makers too"
    return picks, (words, path + to_address(after))


def _games(selection: Selection, choices: Choices) -> Iterable[Choice]:
    # Another game has other builds, stages and players.
    for game in choices.games:
        yield game, Selection(game, include_team=selection.include_team, newest=True), game == selection.game


def _builds(selection: Selection, offered: tuple[str, ...]) -> Iterable[Choice]:
    """The newest, all together, or any number of them; who takes the last one out again is back at the newest."""
    every = selection.of_every_build()
    newest = replace(every, newest=True)
    yield _build_words(selection) if selection.newest else "the newest", newest, selection.newest
    yield "all together", every, selection == every
    chosen = () if selection.newest else selection.builds
    for word, after, is_chosen in list(_some(replace(every, builds=chosen), "builds", offered))[1:]:
        yield word, after if after.builds else newest, is_chosen


def _build_words(selection: Selection) -> str:
    if selection.newest:
        return f"{selection.builds[0]}, the newest" if selection.builds else "the newest, not known"
    return ", ".join(selection.builds) or "all together"


def _some(selection: Selection, name: str, offered: tuple[str, ...]) -> Iterable[Choice]:
    """Any number of them; none means all. A link takes one in, or out again."""
    chosen: tuple[str, ...] = getattr(selection, name)
    yield f"all {name}", _with(selection, name, ()), not chosen
    for word in dict.fromkeys((*offered, *chosen)):
        after = tuple(one for one in chosen if one != word) if word in chosen else (*chosen, word)
        yield word, _with(selection, name, after), word in chosen


def _with(selection: Selection, name: str, words: tuple[str, ...]) -> Selection:
    changed: dict[str, Any] = {name: words}
    return replace(selection, **changed)


def _stages(selection: Selection, choices: Choices) -> Iterable[Choice]:
    with_boss = {stage for stage, kind in choices.stages if kind == 1}
    offered: list[tuple[int | None, int | None]] = [(None, None)]
    for stage in sorted({stage for stage, _ in choices.stages}):
        offered += [(stage, None), *([(stage, 0), (stage, 1)] if stage in with_boss else [])]
    now = (selection.stage, selection.stage_kind)
    for stage_, kind in dict.fromkeys([*offered, now]):
        after = replace(selection, stage=stage_, stage_kind=kind)
        yield _stage_words(after), after, (stage_, kind) == now


def _attempts(selection: Selection) -> Iterable[Choice]:
    now = (selection.first_attempt, selection.last_attempt)
    for first, last in dict.fromkeys([*_ATTEMPTS, now]):
        after = replace(selection, first_attempt=first, last_attempt=last)
        yield _attempts_words(after), after, (first, last) == now


def _stage_words(selection: Selection) -> str:
    return "every stage" if selection.stage is None else stage_word(selection.stage, selection.stage_kind)


def _attempts_words(selection: Selection) -> str:
    now = (selection.first_attempt, selection.last_attempt)
    return _ATTEMPTS.get(now, f"attempts {attempts_word(selection)}")
