"""Whose run is it? Tags by when they were given against runs by when they came (CAPTURE.md).

Where something was lost, or a tag came late, there are several ways to read what was said. All of them are followed at
once; a run whose player differs between them is open.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from ingest.capture.sidecar import Said

# A tag for a run that began without one may come so long after its start, and is not surely for the next one. Common
# sense, no source: a name is asked for and typed within half a minute.
LATE_S = 30.0
# Ways to read that are followed, and tags that an open run may have; where there are more, every further run is open.
MOST_WAYS = 64


@dataclass(frozen=True)
class Came:
    """A run by where it begins in the log and, if that is known, at which second of the recording.

    `sure`: it is one, beyond doubt. `before`: it began before the log did. `damaged`: something was lost in it.
    """

    byte: int
    at: float | None = None
    sure: bool = True
    before: bool = False
    damaged: bool = False


@dataclass(frozen=True)
class Unseen:
    """At this byte so many runs may have begun of which nothing is left: at least two packets of each are lost."""

    byte: int
    runs: int


@dataclass(frozen=True)
class Answer:
    """The player of each run; None: nobody said, or it is open: then `candidates` has tags. `waiting`: tags left."""

    players: tuple[str | None, ...]
    candidates: tuple[tuple[str, ...], ...]
    waiting: tuple[str, ...]


@dataclass(frozen=True)
class _Way:
    """One way to read: so many tags are used up, and the last run, if it has none, may still get one."""

    used: int = 0
    bare: bool = False


@dataclass
class _Reading:
    given: list[str] = field(default_factory=list)
    ways: frozenset[_Way] = frozenset({_Way()})
    found: list[set[str | None]] = field(default_factory=list)
    last: Came | None = None
    lost_track: bool = False

    def said(self, one: Said) -> None:
        if one.player is None:
            # What waits is taken back: all ways are one again.
            self.ways = frozenset({_Way(len(self.given))})
            self.lost_track = False
        elif one.current:
            if self.found:
                self.found[-1] = {one.player}
                self.ways = frozenset(_Way(way.used) for way in self.ways)
        else:
            late = self._late(one)
            ways = set(self.ways)
            for way in self.ways if late else ():
                if way.bare and way.used == len(self.given):
                    self.found[-1].add(one.player)
                    ways.add(_Way(way.used + 1))
            self.given.append(one.player)
            self._follow(ways)

    def _late(self, one: Said) -> bool:
        begun = None if self.last is None else self.last.at
        return begun is not None and one.at is not None and 0 <= one.at - begun <= LATE_S

    def came(self, run: Came) -> None:
        found: set[str | None] = set()
        ways = set()
        for way in self.ways:
            waits = way.used < len(self.given)
            if waits:
                found.add(self.given[way.used])
                ways.add(_Way(way.used + 1))
            if not waits or run.before or not run.sure:
                found.add(None)
                ways.add(_Way(way.used, bare=not waits))
        if self.lost_track:
            found |= {*self.given[-MOST_WAYS:], None}
        self.found.append(found)
        self.last = run
        self._follow(ways)

    def unseen(self, place: Unseen) -> None:
        ways = set(self.ways)
        # One more than are followed is enough to know that they are too many.
        most = min(place.runs, MOST_WAYS + 1)
        for way in self.ways:
            for number in range(min(most, len(self.given) - way.used)):
                ways.add(_Way(way.used + number + 1))
                if self.last is not None and self.last.damaged:
                    # What is left of the run that went on before may be of two.
                    self.found[-1].add(self.given[way.used + number])
        self._follow(ways)

    def _follow(self, ways: set[_Way]) -> None:
        self.lost_track = self.lost_track or len(ways) > MOST_WAYS
        self.ways = frozenset(sorted(ways, key=lambda way: (way.used, way.bare))[:MOST_WAYS])


def whose(said: Iterable[Said], runs: Sequence[Came], unseen: Sequence[Unseen] = ()) -> Answer:
    """Who played the runs (ascending by byte), as far as the tags tell.

    A tag goes to the first run without one that begins at or after the byte at which the tag was given.
    """
    reading = _Reading()
    # At one byte, a tag comes before what was lost there, and that before a run.
    happened: list[tuple[int, int, Said | Unseen | Came]] = [
        *((one.byte, 0, one) for one in said if one.remark is None),
        *((place.byte, 1, place) for place in unseen),
        *((run.byte, 2, run) for run in runs),
    ]
    for _, _, one in sorted(happened, key=lambda what: what[:2]):
        if isinstance(one, Said):
            reading.said(one)
        elif isinstance(one, Unseen):
            reading.unseen(one)
        else:
            reading.came(one)
    players = tuple(next(iter(found)) if len(found) == 1 else None for found in reading.found)
    candidates = tuple(
        tuple(sorted(tag for tag in found if tag is not None)) if len(found) > 1 else () for found in reading.found
    )
    used = min((way.used for way in reading.ways), default=0)
    return Answer(players, candidates, tuple(reading.given[used:]))
