"""Which builds of a game the audience played, and which of them came first, as far as that is known."""

from dataclasses import dataclass, replace
from itertools import pairwise

from analysis.reader import Reader
from analysis.selection import Selection
from ingest.said.build_order import BuildOrder, Played, order_of


@dataclass(frozen=True)
class PlayedOrder:
    """`builds`: the labels of the builds that the audience played, in the order of their last runs."""

    builds: tuple[str, ...]
    _order: BuildOrder

    def last_of(self, builds: tuple[str, ...]) -> str | None:
        """The one of `builds` that was played last; None where there is none, or more than one may be it."""
        if not builds:
            return None
        last = max(builds, key=self.builds.index)
        return last if all(self._order.known(one, last) for one in builds if one != last) else None

    def newest(self) -> str | None:
        """The build that was played last; None where no build was played, or more than one may be it."""
        return self.last_of(self.builds)

    def maybe_last(self, builds: tuple[str, ...]) -> tuple[str, ...]:
        """Those of `builds` of which it is not known that another of them was played later."""
        return tuple(b for b in builds if not any(self._order.known(b, other) for other in builds))

    def known(self, earlier: str, later: str) -> bool:
        """Whether it is known that the last run of `earlier` came before that of `later`."""
        return self._order.known(earlier, later)

    def unknown_pairs(self) -> tuple[tuple[str, str], ...]:
        """Builds that stand side by side in `builds` by convention only."""
        return tuple(pair for pair in pairwise(self.builds) if not self._order.known(*pair))


def played_order(reader: Reader, game: str, team: bool = False) -> PlayedOrder:
    """The builds that the audience of a game played; with `team` those that its makers played too."""
    rows = reader.ask("builds_played", game=game, include_team=team)
    runs = [
        Played(str(build), str(log), int(number), None if at != at else float(at))
        for build, log, number, at in zip(rows["build"], rows["log"], rows["number"], rows["played_us"], strict=True)
    ]
    words = reader.ask("builds_said", game=game)
    said = zip(words["earlier"].tolist(), words["later"].tolist(), strict=True)
    order = order_of(list(dict.fromkeys(run.build for run in runs)), runs, said, last=True)
    return PlayedOrder(order.builds, order)


def of_newest(reader: Reader, selection: Selection) -> Selection:
    """The selection itself where its builds were chosen; otherwise with the build that the audience played last.

    Where it is not known which that is, none is taken, and `maybe_newest` names those it may be: nothing is guessed.
    The makers' own builds count where only they have played and their runs are asked for.
    """
    if not selection.newest:
        return selection
    order = played_order(reader, selection.game)
    if not order.builds and selection.include_team:
        order = played_order(reader, selection.game, team=True)
    newest = order.newest()
    if newest is None:
        return replace(selection, builds=(), maybe_newest=order.maybe_last(order.builds))
    return replace(selection, builds=(newest,), maybe_newest=())


def build_to_change(reader: Reader, game: str) -> tuple[str | None, str]:
    """The build that a change starts from where none is named: the one played last; None where nobody of the audience
    has played. The second says so where it is not known which that is, and one of them was taken."""
    order = played_order(reader, game)
    if not order.builds:
        return None, ""
    newest, taken = order.newest(), order.builds[-1]
    if newest is not None:
        return newest, ""
    why = not_known(order.maybe_last(order.builds))
    return taken, f"{why}; this starts from {taken}: name another, or say which was played first"


def not_known(builds: tuple[str, ...]) -> str:
    """That the order of builds is not known, and why; how to say it depends on where this is read."""
    names = f"{', '.join(builds[:-1])} and {builds[-1]}"
    return (
        f"it is not known which of {names} was played {'first' if len(builds) == 2 else 'last'}: at least one was "
        "recorded without times, and no log holds both"
    )
