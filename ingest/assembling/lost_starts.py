"""Runs whose start was lost: a first reading finds what tells of them, a second builds them (FORMAT.md, section 7)."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from ingest.vocabulary import EventRole
from ingest.wire.dictionary import Dictionary
from ingest.wire.power_up import PowerUp
from ingest.wire.records import Batch

# What happens while somebody plays; all else may happen in a menu as well.
PLAY = frozenset(
    {
        EventRole.RUN_END,
        EventRole.STAGE_START,
        EventRole.STAGE_END,
        EventRole.SPAWN,
        EventRole.DEATH,
        EventRole.PICKUP,
        EventRole.SHOT,
        EventRole.ENEMY_SHOT,
        EventRole.HIT,
        EventRole.POSITION,
        EventRole.NOTE,
        EventRole.VERDICT,
        EventRole.PIECE,
        EventRole.LANDED,
        EventRole.ROWS,
        EventRole.LEVEL,
        EventRole.TRIAL,
    }
)
# What tells of a run by itself, where a log begins in the midst of one and nothing is missing.
_SURE = frozenset({EventRole.RUN_END, EventRole.STAGE_END, EventRole.DEATH})


@dataclass(frozen=True)
class Starts:
    """What a first reading told.

    `outside`: (game, kind) of kinds of play that come outside runs too, where nothing is missing; `before`: numbers of
    power-ups that begin in the midst of a run.
    """

    outside: frozenset[tuple[str, str]]
    before: frozenset[int]

    def kinds(self, dictionary: Dictionary) -> frozenset[int]:
        """The numbers of the kinds that come in runs alone."""
        return frozenset(
            number
            for number, kind in enumerate(dictionary.kinds)
            if kind.role in PLAY and (dictionary.game, kind.name) not in self.outside
        )


@dataclass
class Stretch:
    """From the end of a run, or of nothing, to the next run: `since` is the byte offset that it begins behind.

    `missing`: something was lost in it, as far as it has been followed; `midst`: the log begins with it, and not with a
    power-up.
    """

    since: int = -1
    missing: bool = False
    midst: bool = False


def stretch_of(up: PowerUp) -> Stretch:
    """How a power-up begins. Without its settings it has lost its first packets, or was there before the log."""
    return Stretch(up.offset - 1, missing=not up.whole and up.number > 0, midst=not up.whole and up.number == 0)


class Outside:
    """Collects, over one reading, which kinds come outside runs where nothing is missing, and which where it is."""

    def __init__(self) -> None:
        self._clean: set[tuple[str, str]] = set()
        self._suspect: set[tuple[str, str]] = set()
        self._midst: dict[int, set[tuple[str, str]]] = {}

    def take(
        self,
        up: PowerUp,
        dictionary: Dictionary,
        batch: Batch,
        parts: Sequence[tuple[int, int, Stretch]],
        damage: Sequence[int],
    ) -> None:
        """`parts`: (first order, order behind the last, stretch) of what is outside runs in a batch."""
        for begin, end, stretch in parts:
            lost = begin
            if not stretch.missing:
                at = batch.orders_at(damage[bisect_right(damage, stretch.since) :][:1])
                lost = min(max(at[0], begin), end) if at else end
            for events in batch.by_kind:
                kind = dictionary.kinds[events.kind]
                if kind.role not in PLAY:
                    continue
                name = dictionary.game, kind.name
                first, split, last = events.order.searchsorted([begin, lost, end]).tolist()
                if first < split and not stretch.midst:
                    self._clean.add(name)
                elif first < split and kind.role in _SURE:
                    self._midst.setdefault(up.number, set()).add(name)
                if split < last:
                    self._suspect.add(name)

    def starts(self) -> Starts | None:
        """What a second reading should know; None where there is no sign of a lost start."""
        before = frozenset(up for up, names in self._midst.items() if names - self._clean)
        if not before and self._suspect <= self._clean:
            return None
        return Starts(frozenset(self._clean), before)
