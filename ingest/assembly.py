"""Events in, runs out: runs, stages, lives and spells of play (FORMAT.md, section 7)."""

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ingest.dictionary import Dictionary
from ingest.places import Scope
from ingest.records import Batch, microseconds
from ingest.session import PowerUp
from ingest.vocabulary import Ending, EventRole, FieldRole, StageKind, TunableRole

Values = tuple[int | None, ...]
Row = tuple[Any, ...]
_STATE = (FieldRole.LIVES, FieldRole.TIER, FieldRole.LEVEL)
# Every event of these roles is looked at; of other kinds only those that change a state field.
_STRUCTURE = frozenset(
    {
        EventRole.RUN_START, EventRole.RUN_END, EventRole.STAGE_START, EventRole.STAGE_END, EventRole.SPAWN,
        EventRole.DEATH, EventRole.PAUSE, EventRole.RESUME, EventRole.RATING,
    }
)  # fmt: skip
_ENDINGS = {Ending.FINISHED: "finished", Ending.GAME_OVER: "game_over", Ending.QUIT: "quit"}
_NOWHERE = 1 << 62
# Runs that wait for the settings of a log that never sends them.
_MOST_WAITING = 1000


@dataclass
class Rows:
    """Finished rows, in the order of the columns of schema.sql; the store takes them away."""

    all_runs: list[Row] = field(default_factory=list)
    stages: list[Row] = field(default_factory=list)
    lives: list[Row] = field(default_factory=list)
    spells: list[Row] = field(default_factory=list)


@dataclass
class Ids:
    """The next free ids. `runs` gives those of runs, which a capture that has grown keeps."""

    runs: Iterator[int]
    stage: int
    life: int


@dataclass
class _Stage:
    id: int
    visit: int
    stage: int
    kind: int
    song: int | None
    start_us: int
    lives_in: int | None
    tier_in: int | None
    alive_us: int = 0
    deaths: int = 0


@dataclass
class _Life:
    number: int
    start_us: int
    alive_us: int = 0
    # Begun at a death because the game logs no spawns: taken back when that death turns out to have been the last.
    assumed: bool = False


@dataclass
class _Spell:
    start_us: int
    alive_us: int = 0


@dataclass
class _Run:
    id: int
    number: int
    up: PowerUp
    dictionary: Dictionary
    start_byte: int
    start_us: int
    said: dict[FieldRole, int]
    build: Values | None = None  # None: not known yet
    mixed: bool = False
    lives: int | None = None
    tier: int | None = None
    level: int | None = None
    alive_us: int = 0
    deaths: int = 0
    visits: int = 0
    lives_begun: int = 0
    score: int | None = None
    rating: int | None = None
    end_us: int = 0
    ending: str = "cut"
    damaged: bool = False
    stage: _Stage | None = None
    life: _Life | None = None
    spell: _Spell | None = None
    changed: Row | None = (
        None  # the last spell, where a change of tier or level ended it: a death may still come
    )
    paused: bool = False
    now_us: int = 0


class Assembler:
    """Builds the runs of one capture from its batches of events, which must come in the order of the log.

    `build_id` gives the id of a build from its dictionary and the values of its tunables.
    """

    def __init__(self, capture_id: int, ids: Ids, build_id: Callable[[Dictionary, Values], int]):
        self.rows = Rows()
        self.runs = 0
        self._capture_id = capture_id
        self._ids = ids
        self._build_id = build_id
        self._up: PowerUp | None = None
        self._power_up_id = 0
        self._run: _Run | None = None
        self._waiting: list[tuple[_Run, int]] = []  # ended, but a rating or the settings may still come
        self._damage: list[
            int
        ] = []  # offsets of bad frames and of packets before which something is missing, sorted
        self._values: Values = ()  # in force
        self._last_us = 0
        self._ended_us = 0  # of the last run
        # What `take` or `end` last went through, for Places: changes of run, stage and life, and lives that were none.
        self.scopes = [Scope(0, 0, -1, -1, 0)]
        self.taken_back: set[tuple[int, int]] = set()

    def damage(self, offsets: Iterable[int]) -> None:
        """Notes bad frames and packets before which something is missing; call it before their batch is taken."""
        self._damage = sorted([*self._damage, *offsets])

    def take(
        self, up: PowerUp, power_up_id: int, dictionary: Dictionary, batch: Batch
    ) -> tuple[np.ndarray, np.ndarray]:
        """Run id and stage id (int32) of each event of the batch, by its order; -1 outside runs and stages."""
        self._next_scopes()
        if self._up is not up:
            self._leave()
            self._scope(0, self._ended_us)
            self._up, self._power_up_id, self._values = up, power_up_id, ()
        count = len(batch.tick)
        points = [(0, *self._place())]
        for order, role, at_us, offset, said in _structure(dictionary, batch):
            if role == EventRole.RUN_START and self._run is not None:
                before = batch.tick[order - 1] if order else None
                if before is not None:
                    self._last_us = int(microseconds(before, dictionary.clock_hz))
                self._cut(offset)
                self._scope(order, self._ended_us)
            self._follow_settings(offset)
            if role not in _STRUCTURE:
                self._change(at_us, said)
                continue
            self._event(role, at_us, offset, said, dictionary)
            self._scope(order, self._ended_us if self._run is None else self._run.now_us)
            place = self._place()
            if place != points[-1][1:]:
                after = role in (EventRole.RUN_END, EventRole.STAGE_END)
                points.append((order + after, *place))
        if count:
            self._last_us = int(microseconds(batch.tick[-1], dictionary.clock_hz))
        self._settle(ended=False)
        at, run, stage = np.array(points, np.int32).T
        lengths = np.diff(at, append=count)
        return np.repeat(run, lengths), np.repeat(stage, lengths)

    def followed(self, offset: int) -> None:
        """Everything up to `offset` has been taken: what was known about it is forgotten but for its marks on a run."""
        if self._up is not None:
            self._follow_settings(offset)
        run = self._run
        if run is not None:
            run.damaged = run.damaged or self._damaged(run.start_byte, offset)
        self._damage = self._damage[bisect_right(self._damage, offset) :]

    def _damaged(self, start_byte: int, end_byte: int) -> bool:
        return bisect_right(self._damage, end_byte) > bisect_right(self._damage, start_byte)

    def _follow_settings(self, offset: int) -> None:
        """Takes the settings of the power-up up to `offset` into force."""
        assert self._up is not None
        settings = self._up.settings
        while settings and settings[0][0] <= offset:
            self._values = settings.popleft()[1]
            for run in [*(run for run, _ in self._waiting), *([self._run] if self._run is not None else [])]:
                known = _known(self._values, run.dictionary)
                if run.build is None:
                    run.build = known
                elif run is self._run and run.build != known:
                    run.mixed = True

    def end(self) -> None:
        """The log is over: an open run is cut."""
        self._next_scopes()
        self._leave()
        self._scope(0, self._ended_us)

    def _next_scopes(self) -> None:
        self.scopes = self.scopes[-1:]
        self.taken_back = set()

    def _scope(self, order: int, at_us: int) -> None:
        run = self._run
        life = 0 if run is None or run.life is None or run.paused else run.life.number
        scope = Scope(order, at_us, *self._place(), life)
        if scope[2:] != self.scopes[-1][2:]:
            self.scopes.append(scope)

    def _leave(self) -> None:
        if self._up is not None:
            self._follow_settings(_NOWHERE)
        if self._run is not None:
            self._cut(self._up.end_offset if self._up is not None else None)
        self._settle(ended=True)

    def _place(self) -> tuple[int, int]:
        run = self._run
        if run is None:
            return -1, -1
        return run.id, -1 if run.stage is None else run.stage.id

    def _event(
        self,
        role: EventRole | None,
        at_us: int,
        offset: int,
        said: dict[FieldRole, int],
        dictionary: Dictionary,
    ) -> None:
        if role == EventRole.RUN_START:
            self._start(at_us, offset, said, dictionary)
            return
        run = self._run
        if role == EventRole.RATING and FieldRole.VALUE in said:
            rated = run or (self._waiting[-1][0] if self._waiting else None)
            if rated is not None:
                rated.rating = said[FieldRole.VALUE]
        if run is None:
            return
        # `ago` may reach back before what is settled already.
        at_us = max(at_us, run.now_us)
        self._advance(run, at_us)
        if role == EventRole.RUN_END:
            run.score = said.get(FieldRole.SCORE)
            self._end_run(run, at_us, _ending(run, said), offset)
        elif role == EventRole.STAGE_START:
            self._end_spell(run, "change" if run.stage is None else "stage_end")
            self._end_stage(run, at_us, _passed(run, said))
            self._state(run, said)
            self._start_stage(run, at_us, said)
        elif role == EventRole.STAGE_END:
            self._end_spell(run, "change" if run.stage is None else "stage_end")
            self._end_stage(run, at_us, bool(said.get(FieldRole.CLEARED, 1)))
        elif role == EventRole.DEATH:
            self._death(run, at_us, said)
        elif role == EventRole.SPAWN:
            self._state(run, said)
            if run.life is None:
                self._start_life(run, at_us)
        elif role in (EventRole.PAUSE, EventRole.RESUME):
            run.paused = role == EventRole.PAUSE
        else:
            self._state(run, said)

    def _change(self, at_us: int, said: dict[FieldRole, int]) -> None:
        """Any other event: it may tell the state."""
        run = self._run
        if run is not None:
            self._advance(run, max(at_us, run.now_us))
            self._state(run, said)

    def _start(self, at_us: int, offset: int, said: dict[FieldRole, int], dictionary: Dictionary) -> None:
        assert self._up is not None
        self._settle(ended=False, rated=True)
        self.runs += 1
        run = _Run(next(self._ids.runs), self.runs, self._up, dictionary, offset, at_us, said, now_us=at_us)
        run.build = _known(self._values, dictionary)
        self._run = run
        run.lives = said.get(FieldRole.LIVES)
        if run.lives is None:
            run.lives = _start_lives(dictionary, self._values)
        # Tiers count from 0: a game that has them starts there unless it says otherwise.
        run.tier = said.get(FieldRole.TIER, 0 if FieldRole.TIER in dictionary.field_roles else None)
        run.level = said.get(FieldRole.LEVEL)
        self._start_life(run, at_us)
        if EventRole.STAGE_START not in dictionary.event_roles:
            self._start_stage(run, at_us, {FieldRole.STAGE: 1})

    def _cut(self, next_byte: int | None) -> None:
        run = self._run
        assert run is not None
        at_us = max(self._last_us, run.now_us)
        self._advance(run, at_us)
        self._end_run(run, at_us, "cut", _NOWHERE if next_byte is None else next_byte)

    def _end_run(self, run: _Run, at_us: int, ending: str, offset: int) -> None:
        if run.life is not None and run.life.assumed and ending == "game_over":
            run.alive_us -= run.life.alive_us
            if run.stage is not None and run.spell is not None:
                run.stage.alive_us -= run.spell.alive_us
            self.taken_back.add((run.id, run.life.number))
            run.life = run.spell = None
            run.lives_begun -= 1
        self._end_spell(run, ending if ending in ("cut", "quit") else "run_end")
        self._settle_change(run)
        if run.life is not None:
            self._end_life(run, at_us, died=False, said={})
        cleared = {"finished": True, "game_over": False}.get(ending)
        self._end_stage(run, at_us, cleared)
        run.end_us, run.ending = at_us, ending
        self._ended_us = at_us
        run.damaged = run.damaged or self._damaged(run.start_byte, offset)
        self._waiting.append((run, self._power_up_id))
        self._run = None
        if len(self._waiting) > _MOST_WAITING:
            self._hand_over(*self._waiting.pop(0))

    def _advance(self, run: _Run, at_us: int) -> None:
        passed, run.now_us = at_us - run.now_us, at_us
        if run.life is None or run.paused:
            return
        run.alive_us += passed
        run.life.alive_us += passed
        if run.stage is not None:
            run.stage.alive_us += passed
        if run.spell is None:
            run.spell = _Spell(at_us - passed)
        run.spell.alive_us += passed

    def _state(self, run: _Run, said: dict[FieldRole, int]) -> None:
        tier, level = said.get(FieldRole.TIER, run.tier), said.get(FieldRole.LEVEL, run.level)
        if (tier, level) != (run.tier, run.level):
            self._end_spell(run, "change")
        run.lives, run.tier, run.level = said.get(FieldRole.LIVES, run.lives), tier, level

    def _end_spell(self, run: _Run, ended_by: str) -> None:
        spell, run.spell = run.spell, None
        if run.life is None:
            return
        stage = None if run.stage is None else run.stage.id
        if spell is None or spell.alive_us == 0:
            # Without any time it tells nothing, unless somebody died in it: of what was in force until then, so that
            # a game may log the lost tier before the death, in the same tick.
            if ended_by != "death":
                return
            before = run.changed
            if before is not None and (before[1], before[2], before[6]) == (
                stage,
                run.life.number,
                run.now_us,
            ):
                run.changed = (*before[:-1], "death")
                return
            spell = _Spell(run.now_us)
        self._settle_change(run)
        run.changed = (
            run.id,
            stage,
            run.life.number,
            run.tier,
            run.level,
            spell.start_us,
            run.now_us,
            spell.alive_us,
            ended_by,
        )
        if ended_by != "change":
            self._settle_change(run)

    def _settle_change(self, run: _Run) -> None:
        if run.changed is not None:
            self.rows.spells.append(run.changed)
            run.changed = None

    def _start_stage(self, run: _Run, at_us: int, said: dict[FieldRole, int]) -> None:
        run.visits += 1
        song = said.get(FieldRole.SONG)
        stage = said.get(FieldRole.STAGE, run.visits if song is None else 1)
        kind = said.get(FieldRole.STAGE_KIND, StageKind.REGULAR)
        run.stage = _Stage(self._ids.stage, run.visits, stage, int(kind), song, at_us, run.lives, run.tier)
        self._ids.stage += 1

    def _end_stage(self, run: _Run, at_us: int, cleared: bool | None) -> None:
        stage, run.stage = run.stage, None
        if stage is not None:
            self.rows.stages.append(
                (stage.id, run.id, stage.visit, stage.stage, stage.kind, stage.song, stage.start_us, at_us,
                 stage.alive_us, cleared, stage.deaths, stage.lives_in, stage.tier_in)
            )  # fmt: skip

    def _start_life(self, run: _Run, at_us: int, assumed: bool = False) -> None:
        run.lives_begun += 1
        run.life = _Life(run.lives_begun, at_us, assumed=assumed)
        run.spell = None

    def _end_life(
        self, run: _Run, at_us: int, died: bool, said: dict[FieldRole, int], lives: int | None = None
    ) -> None:
        life, run.life = run.life, None
        assert life is not None
        shot_ago = said.get(FieldRole.SHOT_AGO)
        self.rows.lives.append(
            (self._ids.life, run.id, life.number, None if run.stage is None else run.stage.id, life.start_us, at_us,
             life.alive_us, died, said.get(FieldRole.CAUSE), said.get(FieldRole.X), said.get(FieldRole.Y),
             lives if died else run.lives, run.tier, run.level,
             None if shot_ago is None else microseconds(shot_ago, run.dictionary.clock_hz))
        )  # fmt: skip
        self._ids.life += 1

    def _death(self, run: _Run, at_us: int, said: dict[FieldRole, int]) -> None:
        if run.life is None:
            self._start_life(run, at_us)  # its spawn was lost, or never logged
        run.deaths += 1
        if run.stage is not None:
            run.stage.deaths += 1
        lives = said.get(FieldRole.LIVES, None if run.lives is None else max(0, run.lives - 1))
        self._end_spell(run, "death")
        self._end_life(run, at_us, died=True, said=said, lives=lives)
        run.lives = lives
        run.tier = said.get(FieldRole.TIER, run.tier)
        run.level = said.get(FieldRole.LEVEL, run.level)
        if EventRole.SPAWN not in run.dictionary.event_roles and lives != 0:
            self._start_life(run, at_us, assumed=True)

    def _settle(self, ended: bool, rated: bool = False) -> None:
        """Hands over the runs that nothing can change any more: the last one of a power-up waits for its rating."""
        left = []
        for number, (run, power_up_id) in enumerate(self._waiting, 1):
            last = number == len(self._waiting) and not rated
            if not ended and (last or run.build is None):
                left.append((run, power_up_id))
            else:
                self._hand_over(run, power_up_id)
        self._waiting = left

    def _hand_over(self, run: _Run, power_up_id: int) -> None:
        said = run.said
        build = run.build or (None,) * len(run.dictionary.tunables)
        self.rows.all_runs.append(
            (run.id, self._capture_id, power_up_id, run.number, self._build_id(run.dictionary, build),
             said.get(FieldRole.PLAYER), _flag(said.get(FieldRole.TEAM)), _flag(said.get(FieldRole.FIRST_TIME)),
             said.get(FieldRole.SEED), run.start_us, run.end_us, run.alive_us, run.ending, run.deaths, run.score,
             run.rating, run.start_byte, run.damaged, run.mixed, None, None)
        )  # fmt: skip


def _structure(
    dictionary: Dictionary, batch: Batch
) -> list[tuple[int, EventRole | None, int, int, dict[FieldRole, int]]]:
    """(order, role, at_us, offset, fields by role) of the events that runs are built from, in the order of the log."""
    found: list[tuple[int, EventRole | None, int, int, dict[FieldRole, int]]] = []
    states = []
    for events in batch.by_kind:
        kind = dictionary.kinds[events.kind]
        if kind.role in _STRUCTURE:
            found += _listed(
                kind.role, batch, events, {f.role: f.name for f in kind.fields if f.role}, slice(None)
            )
        elif any(f.role in _STATE for f in kind.fields):
            states.append(events)
    settled = np.sort(np.array([event[0] for event in found], np.int64))
    for events in states:
        kind = dictionary.kinds[events.kind]
        roles = {f.role: f.name for f in kind.fields if f.role in _STATE}
        # Only where something may have changed since the same kind said it last; several such kinds may disagree.
        told = len(states) > 1 or np.diff(np.searchsorted(settled, events.order), prepend=-1) != 0
        for name in roles.values():
            column = events.fields[name]
            told = told | np.append(True, column[1:] != column[:-1])
        found += _listed(
            kind.role, batch, events, roles, np.flatnonzero(np.broadcast_to(told, len(events.order)))
        )
    found.sort(key=lambda event: event[0])
    return found


def _listed(role, batch, events, roles, which):  # type: ignore[no-untyped-def]
    columns = [events.fields[name][which].tolist() for name in roles.values()]
    said = [dict(zip(roles, values, strict=True)) for values in zip(*columns, strict=True)]
    order = events.order[which].tolist()
    return zip(
        order, [role] * len(order), events.at_us[which].tolist(), batch.offset(events.order[which]).tolist(),
        said or [{} for _ in order], strict=True,
    )  # fmt: skip


def _ending(run: _Run, said: dict[FieldRole, int]) -> str:
    """As logged; where the game does not say, a player who was dead by then lost."""
    logged = said.get(FieldRole.ENDING)
    if logged in _ENDINGS:
        return _ENDINGS[Ending(logged)]
    over = run.life is None or run.lives == 0 or (run.life.assumed and run.life.alive_us == 0)
    return "game_over" if over else "finished"


def _passed(run: _Run, said: dict[FieldRole, int]) -> bool | None:
    """Whether a stage that ends with the start of the next was cleared; None where its end was logged but lost."""
    if run.stage is None or EventRole.STAGE_END in run.dictionary.event_roles:
        return None
    ahead = said.get(FieldRole.STAGE, run.visits + 1), said.get(FieldRole.STAGE_KIND, StageKind.REGULAR)
    return ahead > (run.stage.stage, run.stage.kind)


def _flag(value: int | None) -> bool | None:
    return None if value is None else value != 0


def _known(values: Values, dictionary: Dictionary) -> Values | None:
    """The values of the dictionary's tunables, or None while one of them is not known."""
    own = values[: len(dictionary.tunables)]
    return None if len(own) < len(dictionary.tunables) or None in own else own


def _start_lives(dictionary: Dictionary, values: Values) -> int | None:
    for tunable, value in zip(dictionary.tunables, values, strict=False):
        if tunable.role == TunableRole.START_LIVES and not tunable.scope:
            return value
    return None
