"""Events in, runs out: which events belong to which run and stage, and the runs of a capture (FORMAT.md, section 7)."""

from bisect import bisect_right, insort
from collections.abc import Callable, Sequence

import numpy as np

from ingest.assembling.ledger import Ids, Rows
from ingest.assembling.lost_starts import Outside, Starts, Stretch, stretch_of
from ingest.assembling.one_run import Run, Said, Values, known
from ingest.assembling.places import Scope
from ingest.assembling.structure import STRUCTURE, structure
from ingest.vocabulary import EventRole, FieldRole
from ingest.wire.dictionary import Dictionary
from ingest.wire.power_up import PowerUp
from ingest.wire.records import Batch, microseconds

_NOWHERE = 1 << 62
# Runs that wait for the settings of a log that never sends them.
_MOST_WAITING = 1000
_FEW = 8
# More places than packets that may wait for a dictionary.
_MOST_DAMAGE = 150_000


class Assembler:
    """Builds the runs of one capture from its batches of events, which must come in the order of the log.

    `build_id` gives the id of a build from its dictionary and the values of its tunables. `starts` is what an earlier
    reading told of runs whose start was lost; without it there are none, and `outside` collects it.
    """

    def __init__(
        self, capture_id: int, ids: Ids, build_id: Callable[[Dictionary, Values], int], starts: Starts | None = None
    ):
        self.outside = Outside()
        self._starts = starts
        self._stretch = Stretch()
        self.rows = Rows()
        self.runs = 0
        self._capture_id = capture_id
        self._ids = ids
        self._build_id = build_id
        self._up: PowerUp | None = None
        self._power_up_id = 0
        self._run: Run | None = None
        self._waiting: list[Run] = []  # ended, but a rating or the settings may still come
        # Offsets of bad frames and of packets before which something is missing, sorted.
        self._damage: list[int] = []
        self._forgotten = -1  # the last of them that is not kept any more
        self._values: Values = ()  # in force
        self._last_us = 0
        self._ended_us = 0  # of the last run
        # What `take` or `end` last went through, for Places: changes of run, stage and life, and lives that were none.
        self.scopes = [Scope(0, 0, -1, -1, 0)]
        self.taken_back: set[tuple[int, int]] = set()

    def damage(self, offsets: Sequence[int]) -> None:
        """Notes bad frames and packets before which something is missing; call it before their batch is taken."""
        if len(offsets) > _FEW:
            self._damage = sorted([*self._damage, *offsets])
        else:
            for offset in offsets:
                insort(self._damage, offset)

    def waiting(self, offset: int) -> None:
        """Packets up to `offset` wait. Where none behind can be read any more, the first damage there says it all."""
        if len(self._damage) > _MOST_DAMAGE:
            del self._damage[bisect_right(self._damage, offset) + 1 :]

    def take(
        self, up: PowerUp, power_up_id: int, dictionary: Dictionary, batch: Batch
    ) -> tuple[np.ndarray, np.ndarray]:
        """Run id and stage id (int64) of each event of the batch, by its order; -1 outside runs and stages."""
        self._next_scopes()
        if self._up is not up:
            self._leave()
            self._scope(0)
            self._up, self._power_up_id, self._values = up, power_up_id, ()
            self._stretch = stretch_of(up)
            self._stretch.missing |= self._forgotten > self._stretch.since
        outside = [(0, self._stretch)] if self._run is None else []
        parts: list[tuple[int, int, Stretch]] = []
        starters = frozenset() if self._starts is None else self._starts.kinds(dictionary)
        points = [(0, self.scopes[-1].run, self.scopes[-1].stage)]
        for order, role, at_us, offset, said in structure(dictionary, batch, self._damage, starters):
            if role == EventRole.RUN_START and self._run is not None:
                if order:
                    self._last_us = int(microseconds(batch.tick[order - 1], dictionary.clock_hz))
                self._cut(offset)
                self._scope(order)
            if up.settings:
                self._follow_settings(offset)
            if role == "sign":
                self._sign(at_us, offset)
                self._scope(order)
                continue
            if role == "start":
                if self._start_was_lost(offset):
                    self._begin(at_us, offset, {}, dictionary, "before" if self._stretch.midst else "lost")
                    parts += [(begin, order, stretch) for begin, stretch in outside]
                    outside = []
                    points.append((order, *self._scope(order)[2:4]))
                continue
            if role not in STRUCTURE:
                if self._run is not None:
                    self._run.event(role, at_us, said)
                continue
            self._event(role, at_us, offset, said, dictionary)
            if outside and self._run is not None:
                parts += [(begin, order, stretch) for begin, stretch in outside]
                outside = []
            elif not outside and self._run is None:
                outside = [(order + 1, self._stretch)]
            scope = self._scope(order)
            if (scope.run, scope.stage) != points[-1][1:]:
                after = role in (EventRole.RUN_END, EventRole.STAGE_END)
                points.append((order + after, scope.run, scope.stage))
        count = len(batch.tick)
        if count:
            self._last_us = int(microseconds(batch.tick[-1], dictionary.clock_hz))
        self._settle(ended=False)
        parts += [(begin, count, stretch) for begin, stretch in outside]
        self.outside.take(up, dictionary, batch, parts, self._damage)
        at, run, stage = np.array(points, np.int64).T
        lengths = np.diff(at, append=count)
        return np.repeat(run, lengths), np.repeat(stage, lengths)

    def followed(self, offset: int) -> None:
        """Everything up to `offset` has been taken: what was known about it is forgotten but for its marks on a run."""
        if self._up is not None:
            self._follow_settings(offset)
        run, up = self._run, self._up
        if run is not None and up is not None:
            # Of what came after a reset it knows nothing, even where no event has told of the reset yet.
            until = offset if up.end_offset is None else min(offset, up.end_offset - 1)
            run.damaged = run.damaged or self._damaged(run.start_byte, until)
            run.missing = run.missing or (run.awaits_sign and self._damaged(run.died_byte, until))
        elif self._damaged(self._stretch.since, offset):
            self._stretch.missing = True
        behind = bisect_right(self._damage, offset)
        if behind:
            self._forgotten = self._damage[behind - 1]
        self._damage = self._damage[behind:]

    def end(self) -> None:
        """The log is over: an open run is cut."""
        self._next_scopes()
        self._leave()
        self._scope(0)

    def _damaged(self, start_byte: int, end_byte: int) -> bool:
        return bisect_right(self._damage, end_byte) > bisect_right(self._damage, start_byte)

    def _follow_settings(self, offset: int) -> None:
        """Takes the settings of the power-up up to `offset` into force."""
        assert self._up is not None
        settings = self._up.settings
        while settings and settings[0][0] <= offset:
            self._values = settings.popleft()[1]
            run = self._run or (self._waiting[-1] if self._waiting else None)
            values = None if run is None else known(self._values, run.dictionary)
            if run is None or values is None:
                continue
            # The values of one power-up come to be known for all of its runs at once.
            if run.build is None or (self._waiting and self._waiting[0].build is None):
                for one in [*self._waiting, run]:
                    one.build = one.build or values
            if run is self._run and run.build != values:
                run.mixed = True

    def _next_scopes(self) -> None:
        self.scopes = self.scopes[-1:]
        self.taken_back = set()

    def _scope(self, order: int) -> Scope:
        """Run, stage and life in force after the event `order`: the last of the scopes, which change with them."""
        run, last = self._run, self.scopes[-1]
        if run is None:
            at_us, ids = self._ended_us, (-1, -1, 0)
        else:
            while run.taken_back:
                self.taken_back.add((run.id, run.taken_back.pop()))
            life = 0 if run.life is None or run.paused else run.life.key
            at_us, ids = run.now_us, (run.id, -1 if run.stage is None else run.stage.id, life)
        if ids != last[2:]:
            last = Scope(order, at_us, *ids)
            self.scopes.append(last)
        return last

    def _leave(self) -> None:
        if self._up is not None:
            self._follow_settings(_NOWHERE)
        if self._run is not None:
            end = None if self._up is None else self._up.end_offset
            self._run.damaged |= self._up is not None and self._up.torn
            # What is missing before the first packet after a reset was dropped by the console since.
            self._cut(None if end is None else end - 1)
        self._settle(ended=True)

    def _event(self, role: EventRole, at_us: int, offset: int, said: Said, dictionary: Dictionary) -> None:
        run = self._run
        if role == EventRole.RUN_START:
            self._begin(at_us, offset, said, dictionary, "seen")
            return
        if role == EventRole.RATING and FieldRole.VALUE in said:
            rated = run or (self._waiting[-1] if self._waiting else None)
            if rated is not None:
                rated.rating = said[FieldRole.VALUE]
        if run is None:
            return
        if role == EventRole.RUN_END:
            run.over(at_us, said)
            self._ended(run, offset)
        else:
            run.event(role, at_us, said)
            if role == EventRole.DEATH:
                run.died_byte, run.missing = offset, False

    def _sign(self, at_us: int, offset: int) -> None:
        run = self._run
        if run is not None and run.awaits_sign:
            run.sign(at_us, run.missing or self._damaged(run.died_byte, offset))

    def _begin(self, at_us: int, offset: int, said: Said, dictionary: Dictionary, begun: str) -> None:
        self._settle(ended=False, rated=True)
        self.runs += 1
        self._run = Run(
            self.rows, self._ids, self.runs, self._power_up_id, dictionary, offset, at_us, said, self._values, begun
        )

    def _start_was_lost(self, offset: int) -> bool:
        """Whether an event of play at `offset`, outside any run, is of one whose start was lost."""
        stretch = self._stretch
        if self._run is not None or self._starts is None or self._up is None:
            return False
        if stretch.midst and self._up.number in self._starts.before:
            return True
        return stretch.missing or self._damaged(stretch.since, offset)

    def _cut(self, next_byte: int | None) -> None:
        run = self._run
        assert run is not None
        run.cut(self._last_us)
        self._ended(run, _NOWHERE if next_byte is None else next_byte)

    def _ended(self, run: Run, offset: int) -> None:
        self._ended_us = run.end_us
        self.taken_back |= {(run.id, key) for key in run.taken_back}
        run.damaged = run.damaged or self._damaged(run.start_byte, offset)
        self._waiting.append(run)
        self._run = None
        self._stretch = Stretch(offset)
        if len(self._waiting) > _MOST_WAITING:
            self._hand_over(self._waiting.pop(0))

    def _settle(self, ended: bool, rated: bool = False) -> None:
        """Hands over the runs that nothing can change any more: the last one of a power-up waits for its rating."""
        if not ended and self._waiting and self._waiting[0].build is None:
            return  # nor is that of those behind it
        left = []
        for number, run in enumerate(self._waiting, 1):
            last = number == len(self._waiting) and not rated
            if not ended and (last or run.build is None):
                left.append(run)
            else:
                self._hand_over(run)
        self._waiting = left

    def _hand_over(self, run: Run) -> None:
        build = run.build or (None,) * len(run.dictionary.tunables)
        self.rows.all_runs.append(run.row(self._capture_id, self._build_id(run.dictionary, build)))
