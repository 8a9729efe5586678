"""One run, built from its events: stages, lives and spells of play (FORMAT.md, section 7)."""

from collections.abc import Callable
from dataclasses import dataclass

from ingest.assembling.ledger import Doubt, Ids, Ledger, Life, Row, Rows, Stage
from ingest.vocabulary import Ending, EventRole, FieldRole, StageKind, TunableRole
from ingest.wire.dictionary import Dictionary
from ingest.wire.records import microseconds

Values = tuple[int | None, ...]
Said = dict[FieldRole, int]
_ENDINGS = {Ending.FINISHED: "finished", Ending.GAME_OVER: "game_over", Ending.QUIT: "quit"}
# By a sign of life: whether something is missing tells what it is worth.
_SIGNS = (Doubt.SIGN, Doubt.WEAK)


@dataclass(slots=True)
class _Spell:
    start_us: int
    alive_us: int = 0


class Run:
    """A run from its start on. Rows of what is over in it go to `rows`; that of the run itself is made by `row`."""

    def __init__(
        self,
        rows: Rows,
        ids: Ids,
        number: int,
        power_up_id: int,
        dictionary: Dictionary,
        start_byte: int,
        start_us: int,
        said: Said,
        values: Values,
        begun: str = "seen",
    ):
        """`said`: the fields of its `run_start`; `values`: those in force of the tunables.

        `begun`: "lost" where its start was lost on the way, "before" where it began before the log did.
        """
        self._rows, self._ids, self._ledger = rows, ids, Ledger(rows)
        self.id, self.number = next(ids.runs), number
        self.power_up_id, self.dictionary = power_up_id, dictionary
        self.start_byte, self.start_us, self.said = start_byte, start_us, said
        self.build = known(values, dictionary)  # None: not known yet
        self.begun = begun
        self.mixed = self.paused = False
        self.damaged = begun != "seen"
        self.alive_us = self.deaths = self.visits = self.lives_begun = 0
        self._life_keys = 0
        # Since when the player is dead, for the byte from which on a lost spawn shows as damage; of the assembler.
        self.died_byte, self.missing = start_byte, False
        # Keys of lives that turned out to have been none; whoever has noted them takes them away.
        self.taken_back: list[int] = []
        self.score: int | None = None
        self.rating: int | None = None
        self.now_us, self.end_us, self.ending = start_us, 0, "cut"
        self.stage: Stage | None = None
        self.life: Life | None = None
        self.spell: _Spell | None = None
        # The last spell, where a change of tier or level ended it: a death may still come.
        self._changed: Row | None = None
        self.lives = said.get(FieldRole.LIVES)
        if self.lives is None and begun == "seen":
            self.lives = _start_lives(dictionary, values)
        # Tiers count from 0: a game that has them starts there unless it says otherwise.
        self.tier = said.get(FieldRole.TIER, 0 if FieldRole.TIER in dictionary.field_roles else None)
        self.level = said.get(FieldRole.LEVEL)
        self._start_life(inferred=begun != "seen")
        if EventRole.STAGE_START not in dictionary.event_roles:
            self._start_stage({FieldRole.STAGE: 1})

    def event(self, role: EventRole | None, at_us: int, said: Said) -> None:
        """Something happened in the run that neither began nor ended it. What tells nothing new moves no time."""
        state = {FieldRole.LIVES: self.lives, FieldRole.TIER: self.tier, FieldRole.LEVEL: self.level}
        if role not in _DOES and all(said.get(role, value) == value for role, value in state.items()):
            return
        self._advance(at_us)
        _DOES.get(role, Run._state)(self, said)

    def cut(self, at_us: int) -> None:
        """Ends the run where the log tells no more of it."""
        self._advance(at_us)
        self._end("cut")

    def over(self, at_us: int, said: Said) -> None:
        """Ends the run as `run_end` says."""
        self._advance(at_us)
        self.score = said.get(FieldRole.SCORE)
        self._end(self._logged_ending(said))

    @property
    def awaits_sign(self) -> bool:
        """Whether the next sign of life may tell something: the player is dead, or is held to be alive for little."""
        return self.life is None or self.life.doubt is Doubt.WEAK

    def sign(self, at_us: int, missing: bool) -> None:
        """The player did what only the living do; `missing`: since the death something was lost, perhaps the spawn."""
        strong = missing and self.lives != 0
        if not self.awaits_sign or (self.life is not None and not strong):
            return
        self._advance(at_us)
        if self.life is not None:
            self._take_back()
        self._start_life(Doubt.SIGN if strong else Doubt.WEAK, inferred=True)

    def row(self, capture_id: int, build_id: int) -> Row:
        """The run as a row of `all_runs`."""
        said = self.said
        return (
            self.id,
            capture_id,
            self.power_up_id,
            self.number,
            build_id,
            said.get(FieldRole.PLAYER),
            _flag(said.get(FieldRole.TEAM)),
            _flag(said.get(FieldRole.FIRST_TIME)),
            said.get(FieldRole.SEED),
            self.start_us,
            self.end_us,
            self.alive_us,
            self.ending,
            self.deaths,
            self.score,
            self.rating,
            self.start_byte,
            self.damaged,
            self.mixed,
            None,
            None,
            None,
            self.begun,
            None,
            False,
        )

    def _advance(self, at_us: int) -> None:
        """Time goes on until `at_us`; `ago` may reach back before what is settled already."""
        before = self.now_us
        if at_us <= before:
            at_us = before
        self.now_us = at_us
        if self.life is None or self.paused:
            return
        passed = at_us - before
        self.alive_us += passed
        self.life.alive_us += passed
        if self.stage is not None:
            self.stage.alive_us += passed
            if self.life.doubt is not None:
                self.stage.doubt_us += passed
        if self.spell is None:
            self.spell = _Spell(before)
        self.spell.alive_us += passed

    def _state(self, said: Said) -> None:
        tier, level = said.get(FieldRole.TIER, self.tier), said.get(FieldRole.LEVEL, self.level)
        if tier != self.tier or level != self.level:
            self._end_spell("change")
            self.tier, self.level = tier, level
        self.lives = said.get(FieldRole.LIVES, self.lives)

    def _stage_starts(self, said: Said) -> None:
        self._end_spell("change" if self.stage is None else "stage_end")
        self._end_stage(self._passed(said))
        self._state(said)
        self._start_stage(said)

    def _stage_ends(self, said: Said) -> None:
        self._end_spell("change" if self.stage is None else "stage_end")
        self._end_stage(bool(said.get(FieldRole.CLEARED, 1)))

    def _spawns(self, said: Said) -> None:
        if self.life is not None and self.life.doubt in _SIGNS:
            self._take_back()
        self._state(said)
        if self.life is None:
            self._start_life()

    def _pauses(self, said: Said) -> None:
        self.paused = True

    def _resumes(self, said: Said) -> None:
        self.paused = False

    def _dies(self, said: Said) -> None:
        if self.life is None:
            self._start_life(inferred=True)  # its spawn was lost, or never logged, and nothing told of it
        self._settle_life()
        self.deaths += 1
        if self.stage is not None:
            self.stage.deaths += 1
        lives = said.get(FieldRole.LIVES, None if self.lives is None else max(0, self.lives - 1))
        self._end_spell("death")
        self._settle_change()
        self._end_life(died=True, said=said, lives=lives)
        self.lives = lives
        self.tier = said.get(FieldRole.TIER, self.tier)
        self.level = said.get(FieldRole.LEVEL, self.level)
        if EventRole.SPAWN not in self.dictionary.event_roles and lives != 0:
            self._start_life(Doubt.ASSUMED)

    def _logged_ending(self, said: Said) -> str:
        """As logged; where the game does not say, a player who was dead by then lost."""
        logged = said.get(FieldRole.ENDING)
        if logged in _ENDINGS:
            return _ENDINGS[Ending(logged)]
        life = self.life
        over = life is None or life.doubt is Doubt.WEAK or self.lives == 0
        over = over or (life is not None and life.doubt is Doubt.ASSUMED and life.alive_us == 0)
        return "game_over" if over else "finished"

    def _end(self, ending: str) -> None:
        doubt = None if self.life is None else self.life.doubt
        if doubt is Doubt.WEAK or (doubt is not None and ending == "game_over"):
            self._take_back()
        self._settle_life()
        self._end_spell(ending if ending in ("cut", "quit") else "run_end")
        self._settle_change()
        if self.life is not None:
            self._end_life(died=False, said={}, lives=self.lives)
        self._end_stage({"finished": True, "game_over": False}.get(ending))
        self.end_us, self.ending = self.now_us, ending

    def _settle_life(self) -> None:
        """What is known by now makes the life one, if there is one."""
        if self.life is not None:
            self.life.doubt = None
        if self.stage is not None:
            self.stage.doubt_us = 0
        self._ledger.settle()

    def _take_back(self) -> None:
        """The life was none."""
        life = self.life
        assert life is not None
        self.alive_us -= life.alive_us
        if self.stage is not None:
            self.stage.alive_us -= self.stage.doubt_us
            self.stage.doubt_us = 0
        self._ledger.take_back()
        self.taken_back.append(life.key)
        self.lives_begun -= 1
        self.life = self.spell = self._changed = None

    def _end_spell(self, ended_by: str) -> None:
        spell, self.spell = self.spell, None
        if self.life is None:
            return
        stage = None if self.stage is None else self.stage.id
        if spell is None or spell.alive_us == 0:
            # Without any time it tells nothing, unless somebody died in it: of what was in force until then, so that
            # a game may log the lost tier before the death, in the same tick.
            if ended_by != "death":
                return
            before = self._changed
            if before is not None and (before[1], before[2], before[6]) == (stage, self.life.number, self.now_us):
                self._changed = (*before[:-1], "death")
                return
            spell = _Spell(self.now_us)
        self._settle_change()
        row = (
            self.id,
            stage,
            self.life.number,
            self.tier,
            self.level,
            spell.start_us,
            self.now_us,
            spell.alive_us,
            ended_by,
        )
        if ended_by == "change":
            self._changed = row
        else:
            self._ledger.spell(row)
            self._bound()

    def _settle_change(self) -> None:
        if self._changed is not None:
            self._ledger.spell(self._changed)
            self._changed = None
            self._bound()

    def _bound(self) -> None:
        if self._ledger.full:
            self._settle_life()

    def _start_stage(self, said: Said) -> None:
        self.visits += 1
        song = said.get(FieldRole.SONG)
        stage = said.get(FieldRole.STAGE, self.visits if song is None else 1)
        kind = int(said.get(FieldRole.STAGE_KIND, StageKind.REGULAR))
        self.stage = Stage(self._ids.stage, self.id, self.visits, stage, kind, song, self.now_us, self.lives, self.tier)
        self._ids.stage += 1

    def _passed(self, said: Said) -> bool | None:
        """Whether a stage that ends with the start of the next was cleared; None where its end was logged but lost."""
        if self.stage is None or EventRole.STAGE_END in self.dictionary.event_roles:
            return None
        ahead = said.get(FieldRole.STAGE, self.visits + 1), said.get(FieldRole.STAGE_KIND, StageKind.REGULAR)
        return ahead > (self.stage.stage, self.stage.kind)

    def _end_stage(self, cleared: bool | None) -> None:
        stage, self.stage = self.stage, None
        if stage is not None:
            stage.end_us, stage.cleared = self.now_us, cleared
            self._ledger.stage(stage)
            self._bound()

    def _start_life(self, doubt: Doubt | None = None, inferred: bool = False) -> None:
        self.lives_begun += 1
        self._life_keys += 1
        self.life = Life(self._life_keys, self.lives_begun, self.now_us, doubt, inferred)
        self._ledger.doubtful = doubt is not None
        self.spell = None

    def _end_life(self, died: bool, said: Said, lives: int | None) -> None:
        life, self.life = self.life, None
        assert life is not None
        shot_ago = said.get(FieldRole.SHOT_AGO)
        self._rows.lives.append(
            (
                self._ids.life,
                self.id,
                life.number,
                None if self.stage is None else self.stage.id,
                life.start_us,
                self.now_us,
                life.alive_us,
                died,
                said.get(FieldRole.CAUSE),
                said.get(FieldRole.X),
                said.get(FieldRole.Y),
                lives,
                self.tier,
                self.level,
                None if shot_ago is None else microseconds(shot_ago, self.dictionary.clock_hz),
                life.inferred,
            )
        )
        self._ids.life += 1


# What events of any other kind tell is the state, if anything.
_DOES: dict[EventRole | None, Callable[[Run, Said], None]] = {
    EventRole.STAGE_START: Run._stage_starts,
    EventRole.STAGE_END: Run._stage_ends,
    EventRole.SPAWN: Run._spawns,
    EventRole.DEATH: Run._dies,
    EventRole.PAUSE: Run._pauses,
    EventRole.RESUME: Run._resumes,
}


def known(values: Values, dictionary: Dictionary) -> Values | None:
    """The values of the dictionary's tunables, or None while one of them is not known."""
    own = values[: len(dictionary.tunables)]
    return None if len(own) < len(dictionary.tunables) or None in own else own


def _start_lives(dictionary: Dictionary, values: Values) -> int | None:
    for tunable, value in zip(dictionary.tunables, values, strict=False):
        if tunable.role == TunableRole.START_LIVES and not tunable.scope:
            return value
    return None


def _flag(value: int | None) -> bool | None:
    return None if value is None else value != 0
