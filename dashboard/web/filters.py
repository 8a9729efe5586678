"""The one filter: a Selection to and from the address, so that a view can be bookmarked and shared."""

from dataclasses import dataclass
from urllib.parse import parse_qs, urlencode

from analysis.selection import ALL, Selection, attempts_from, builds_in_words, stage_from

# Nothing longer is looked at: the address is outside input.
_LONGEST = 4096


@dataclass(frozen=True)
class Choices:
    """What the filter bar offers for one game."""

    games: tuple[str, ...]
    builds: tuple[str, ...] = ()
    stages: tuple[tuple[int, int], ...] = ()
    players: tuple[str, ...] = ()
    groups: tuple[str, ...] = ()
    attempts: int = 1


def to_address(selection: Selection) -> str:
    """The query string of `selection`, with its question mark; only what was chosen is in it.

    Without a word on builds it means the newest, whichever that is when the address is opened.
    """
    words: list[tuple[str, str]] = [("game", selection.game)]
    if not selection.newest:
        words += [("build", build) for build in selection.builds] or [("builds", ALL)]
    if selection.stage is not None:
        words.append(("stage", str(selection.stage) + {None: "", 0: "r", 1: "b"}[selection.stage_kind]))
    words += [("player", player) for player in selection.players]
    words += [("group", group) for group in selection.groups]
    attempts = attempts_word(selection)
    if attempts:
        words.append(("attempts", attempts))
    if selection.include_team:
        words.append(("makers", "1"))
    return "?" + urlencode(words)


def from_address(search: str | None, games: tuple[str, ...]) -> Selection | None:
    """The selection an address means; words that make no sense are left out. None when there is no game at all.

    Which build is the newest, where none is named, `analysis.played_order.of_newest` finds.
    """
    if not games:
        return None
    try:
        words = parse_qs((search or "").lstrip("?")[:_LONGEST], max_num_fields=400)
    except ValueError:
        words = {}
    game = words.get("game", [games[0]])[0]
    stage, stage_kind = stage_from(words.get("stage", [""])[0])
    first, last = attempts_from(words.get("attempts", [""])[0])
    builds = tuple(words.get("build", ()))
    return Selection(
        game=game if game in games else games[0],
        builds=builds,
        newest=not builds and words.get("builds") != [ALL],
        stage=stage,
        stage_kind=stage_kind,
        players=tuple(words.get("player", ())),
        groups=tuple(words.get("group", ())),
        first_attempt=first,
        last_attempt=last,
        include_team=words.get("makers") == ["1"],
    )


def game_address(game: str) -> str:
    """The query string of a game and nothing else chosen."""
    return to_address(Selection(game, newest=True))


def attempts_word(selection: Selection) -> str:
    """The attempts as one word: "1-3", "2-", "" for all."""
    if selection.first_attempt is None and selection.last_attempt is None:
        return ""
    return f"{selection.first_attempt or 1}-{selection.last_attempt or ''}"


def stage_word(stage: int, stage_kind: int | None) -> str:
    """A stage in words: "Stage 2, boss"."""
    return f"Stage {stage}" + {None: "", 0: ", regular", 1: ", boss"}.get(stage_kind, "")


def in_words(selection: Selection) -> str:
    """The selection as a report states it."""
    parts = [
        builds_in_words(selection),
        "every stage" if selection.stage is None else stage_word(selection.stage, selection.stage_kind).lower(),
        "players " + ", ".join(selection.players) if selection.players else "all players",
        "every attempt" if not attempts_word(selection) else f"attempts {attempts_word(selection)}",
        "the makers' own runs included" if selection.include_team else "without the makers' own runs",
    ]
    if selection.groups:
        parts.insert(3, "groups " + ", ".join(selection.groups))
    return f"{selection.game}: " + ", ".join(parts)
