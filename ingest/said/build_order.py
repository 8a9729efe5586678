"""In which order the builds of a game were played, as far as it can be known. Pure: nothing is read here.

Three things tell it, and in this order of trust: what people said, the times at which runs came to the PC that recorded
them, and the order of the runs within one log. The date of a file tells nothing: it says when the file was copied as
often as when it was played. Where none of them tells, the order is that in which the builds are given, and not known.
"""

import heapq
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

# A build by its number, or a moment: ("moment", which).
_Node = int | tuple[str, int]
# How often it is looked what comes after a build while things are added, to find what contradicts. 4,000 builds of ten
# logs that agree take some 100,000; only thousands of builds in logs that contradict each other take more.
MOST_LOOKS = 2_000_000


@dataclass(frozen=True)
class Played:
    """One run of a build, the first or the last one in a log: its number there, and when it came, in microseconds of
    any clock; None: not known."""

    build: str
    log: str
    number: int
    at: float | None


class BuildOrder:
    """Builds in the order in which they were played; `known` says of which pairs that is more than a convention."""

    def __init__(self, builds: Sequence[str]):
        """`builds`: each once, in the order that holds where nothing is known."""
        self._names = tuple(builds)
        self._number = {name: n for n, name in enumerate(self._names)}
        # In the order in which they were added, so that the same things take the same looks.
        self._after: dict[_Node, dict[_Node, None]] = {n: {} for n in range(len(self._names))}
        self.looks = 0

    @property
    def builds(self) -> tuple[str, ...]:
        """All builds, each after those that are known to have been played before it."""
        left = dict.fromkeys(self._after, 0)
        for later in self._after.values():
            for node in later:
                left[node] += 1
        # A moment takes no turn of its own: whatever may come after it may come at once.
        ready: list[tuple[int, int]] = []
        names = list(left)
        place = {node: n for n, node in enumerate(names)}

        def push(node: _Node) -> None:
            heapq.heappush(ready, (node if isinstance(node, int) else -1, place[node]))

        for node, count in left.items():
            if not count:
                push(node)
        found: list[str] = []
        while ready:
            node = names[heapq.heappop(ready)[1]]
            if isinstance(node, int):
                found.append(self._names[node])
            for after in self._after[node]:
                left[after] -= 1
                if not left[after]:
                    push(after)
        return tuple(found)

    def known(self, earlier: str, later: str) -> bool:
        """Whether it is known that `earlier` was played before `later`."""
        return earlier != later and self._reaches(self._number[earlier], self._number[later])

    def add(self, earlier: str, later: str) -> None:
        """Takes one thing that is known; what contradicts what was added before is passed over, and unknown builds, and
        what comes after MOST_LOOKS."""
        if earlier in self._number and later in self._number:
            self._add(self._number[earlier], self._number[later])

    def add_times(self, times: dict[str, float]) -> None:
        """Takes the moments at which builds were played. Two of one moment are not put in order."""
        at_moment: dict[float, list[int]] = {}
        for name, at in times.items():
            at_moment.setdefault(at, []).append(self._number[name])
        for n, moment in enumerate(sorted(at_moment)):
            before: _Node = ("moment", n)
            for node in (before, ("moment", n + 1)):
                self._after.setdefault(node, {})
            for build in at_moment[moment]:
                self._add(before, build)
                self._add(build, ("moment", n + 1))
            self._add(before, ("moment", n + 1))

    def _add(self, earlier: _Node, later: _Node) -> None:
        if earlier != later and self.looks < MOST_LOOKS and not self._reaches(later, earlier):
            self._after[earlier][later] = None

    def _reaches(self, start: _Node, goal: _Node) -> bool:
        seen, waiting = {start}, [start]
        while waiting:
            node = waiting.pop()
            if node == goal:
                return True
            following = self._after[node]
            self.looks += len(following)
            fresh = [after for after in following if after not in seen]
            seen.update(fresh)
            waiting += fresh
        return False


def order_of(
    builds: Sequence[str], played: Iterable[Played], said: Iterable[tuple[str, str]], last: bool
) -> BuildOrder:
    """The order of `builds`, which are given in the order that holds where nothing is known.

    `played` has one run of each build and log: with `last` the last one, otherwise the first; so the order is that of
    the last or of the first runs. `said`: (earlier, later), the newest first, which holds where two contradict.
    """
    runs = list(played)
    order = BuildOrder(builds)
    for earlier, later in said:
        order.add(earlier, later)
    times: dict[str, float] = {}
    for run in runs:
        if run.at is not None:
            times[run.build] = (max if last else min)(run.at, times.get(run.build, run.at))
    order.add_times(times)
    for earlier, later in _within_logs(runs, times):
        order.add(earlier, later)
    return order


def _within_logs(runs: list[Played], times: dict[str, float]) -> list[tuple[str, str]]:
    """Builds that follow each other in a log, but where times tell, or one log says otherwise than another."""
    by_log: dict[str, list[tuple[int, str]]] = {}
    for run in runs:
        by_log.setdefault(run.log, []).append((run.number, run.build))
    pairs = {
        (a, b)
        for found in by_log.values()
        for (_, a), (_, b) in zip(sorted(found), sorted(found)[1:], strict=False)
        if times.get(a) is None or times.get(b) is None or times[a] == times[b]
    }
    return sorted((a, b) for a, b in pairs if (b, a) not in pairs)
