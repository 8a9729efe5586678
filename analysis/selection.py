"""Which runs a question is asked of: the one filter that every finding, page and export obeys."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from analysis.arguments import WrongArgument, words_of

# What is said for all builds together.
ALL = "all"


@dataclass(frozen=True)
class Selection:
    """A choice of runs. None and empty mean "all"; the makers' own runs are left out unless asked for.

    newest: no build was chosen, so `builds` is the one played last (analysis.played_order.of_newest); empty means none
    then, so that builds are not pooled unasked. maybe_newest: the builds of which it is not known which came last.
    """

    game: str
    builds: tuple[str, ...] = ()
    stage: int | None = None
    stage_kind: int | None = None
    players: tuple[str, ...] = ()
    groups: tuple[str, ...] = ()
    first_attempt: int | None = None
    last_attempt: int | None = None
    include_team: bool = False
    newest: bool = False
    maybe_newest: tuple[str, ...] = ()

    def of_every_build(self) -> "Selection":
        """The same runs of all builds."""
        return replace(self, builds=(), newest=False, maybe_newest=())

    def parameters(self) -> dict[str, object]:
        """The values that queries/chosen_runs.sql is asked with."""
        return {
            "game": self.game,
            "builds": list(self.builds) if self.builds or self.newest else None,
            "players": list(self.players) or None,
            "groups": list(self.groups) or None,
            "first_attempt": self.first_attempt,
            "last_attempt": self.last_attempt,
            "include_team": self.include_team,
        }


def choose(
    games: Sequence[str],
    game: str | None = None,
    build: str | Sequence[str] = (),
    stage: str | int | None = None,
    player: str | Sequence[str] = (),
    group: str | Sequence[str] = (),
    attempts: str | int | None = None,
    makers: bool = False,
) -> list[Selection]:
    """One selection a game, of those that the study holds; the words are those of `setscrew findings`.

    build: "all" for all builds together; without one the newest is meant, which `of_newest` finds. stage: its number,
    with r behind it for the regular part and b for the boss. attempts: "1-3", "2-", "1".
    Raises WrongArgument.
    """
    if game is not None and game not in games:
        known = ", ".join(games) or "none"
        raise WrongArgument("game", game, f"the study holds no such game. Its games: {known}")
    number, kind = stage_from(str(stage or ""))
    if stage and number is None:
        raise WrongArgument("stage", stage, "write a number, or a number with r (regular part) or b (boss)")
    builds = words_of(build)
    first, last = attempts_from(str(attempts or ""))
    if attempts and first is None and last is None:
        raise WrongArgument("attempts", attempts, "write 1-3, 2- or 1")
    return [
        Selection(
            game=one,
            builds=() if ALL in builds else builds,
            stage=number,
            stage_kind=kind,
            players=words_of(player),
            groups=words_of(group),
            first_attempt=first,
            last_attempt=last,
            include_team=makers,
            newest=not builds,
        )
        for one in ([game] if game is not None else games)
    ]


def stage_from(word: str) -> tuple[int | None, int | None]:
    """Number and kind of a stage in one word: "2", "2r", "2b"; None for what makes no sense."""
    kind = {"r": 0, "b": 1}.get(word[-1:])
    number = word[:-1] if kind is not None else word
    return (int(number), kind) if number.isascii() and number.isdigit() and len(number) < 6 else (None, None)


def attempts_from(word: str) -> tuple[int | None, int | None]:
    """First and last attempt in one word: "1-3", "2-", "1"; None for an open end."""
    first, dash, last = word.partition("-")
    ends = [int(end) if end.isascii() and end.isdigit() and len(end) < 6 else None for end in (first, last)]
    return (ends[0], ends[1] if dash else ends[0])


def builds_in_words(selection: Selection) -> str:
    """Which builds: "build 1.1, the newest", "builds 1.0, 1.1", "all builds together"."""
    if selection.maybe_newest:
        return f"newest build not known: {' or '.join(selection.maybe_newest)}"
    if selection.newest:
        return f"build {selection.builds[0]}, the newest" if selection.builds else "no build played yet"
    if not selection.builds:
        return "all builds together"
    return f"build{'s' if len(selection.builds) > 1 else ''} {', '.join(selection.builds)}"
