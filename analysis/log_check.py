"""What play logs will let the analysis answer: their roles compared with the table of questions and the levers."""

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.answers.checked import Can, Checked, GameChecked, Lack, Line
from analysis.findings import QUESTIONS
from analysis.findings.questions import Question, Use
from analysis.game_kind import GameKind, read_kind
from analysis.levers import DoseLever, EdgeLever, Lever, lever_of
from analysis.models.data import Tunable
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.tuning_answers.tuning_data import load_builds
from ingest.vocabulary import EventRole, FieldRole


def check_games(reader: Reader, study: str) -> Checked:
    """What can be answered of each game of a study by what its logs declare and hold."""
    games = _games(reader)
    return Checked(study, games, "" if games else "No log with a dictionary that can be read is in there.")


@dataclass(frozen=True)
class _Logged:
    """What the logs of a game declare and hold: (event role, field role or None) -> how often it had a value."""

    declared: frozenset[tuple[str, str | None]]
    seen: dict[tuple[str, str | None], int]
    tunables: tuple[Tunable, ...]
    tagged: bool
    builds: int

    def lacks(self, use: Use) -> list[Lack]:
        """What is missing of `use`, if anything."""
        if use.event is not None:
            if FieldRole.PLAYER in use.fields:
                if self.tagged:
                    return []
                tags = " (or type the players' tags while you record)"
            else:
                tags = ""
            keys = [(str(use.event), field and str(field)) for field in use.fields or (None,)]
            absent = [field for event, field in keys if (event, field) not in self.declared]
            if absent:
                return [Lack(use.gives, self._to_log(use.event, absent) + tags)]
            unseen = [field for event, field in keys if not self.seen.get((event, field))]
            if unseen:
                return [Lack(use.gives, _named(use.event, unseen) + tags, declared=True)]
        roles = {tunable.role for tunable in self.tunables}
        without = [role for role in use.tunables if role not in roles]
        return [Lack(use.gives, f"declare a tunable with the role {_quoted(without)}")] if without else []

    def _to_log(self, event: str, absent: Sequence[str | None]) -> str:
        fields = [field for field in absent if field]
        if (str(event), None) not in self.declared:
            return f"log {_named(event, fields)}"
        return f"log {_fields(fields)} in the event with the role `{event}`"


def _games(reader: Reader) -> tuple[GameChecked, ...]:
    found = []
    rows = reader.ask("games_declared")
    for place, game in enumerate(map(str, rows["game"])):
        logged = _logged(reader, game, bool(rows["tagged_runs"][place]), int(rows["builds"][place]))
        kind = read_kind(reader, Selection(game, include_team=True))
        found.append(
            GameChecked(
                game,
                str(rows["firmware"][place]),
                sum(count for (_, field), count in logged.seen.items() if field is None),
                int(rows["runs"][place]),
                tuple(_question(question, logged, kind) for question in QUESTIONS.values()),
                tuple(_tunable(tunable, logged, kind) for tunable in logged.tunables),
            )
        )
    return tuple(found)


def _logged(reader: Reader, game: str, tagged: bool, builds: int) -> _Logged:
    rows = reader.ask("roles_declared", game=game)
    pairs = list(zip(rows["event"].tolist(), rows["field"].tolist(), strict=True))
    declared = frozenset({(event, None) for event, _ in pairs} | {(event, field or None) for event, field in pairs})
    seen: dict[tuple[str, str | None], int] = {}
    for event in {event for event, _ in declared}:
        one = reader.ask("role_filled", view=f"{event}_events", game=game)
        seen |= {(event, None if name == "events" else name): int(count[0]) for name, count in one.items()}
    newest = list(load_builds(reader, game).values())[-1:]
    return _Logged(declared, seen, newest[0].tunables if newest else (), tagged, builds)


def _question(question: Question, logged: _Logged, kind: GameKind) -> Line:
    if not question.applies({event for event, _ in logged.declared}):
        roles = _quoted(sorted(question.needs), " or ")
        lack = Lack("where the game has such", f"log an event with the role {roles}")
        return Line(question.id, question.title, Can.NO, (lack,))
    uses = [use for use in question.uses if use.part is None or use.part in kind.parts]
    must = [lack for use in uses if use.must for lack in logged.lacks(use)]
    rest = [lack for use in uses if not use.must for lack in logged.lacks(use)]
    if logged.builds < question.builds:
        must.append(Lack("a before and an after", f"play {question.builds} builds of the game", declared=True))
    can = _can(must) if must else Can.IN_PART if rest else Can.YES
    return Line(question.id, question.title, can, (*must, *rest))


def _tunable(tunable: Tunable, logged: _Logged, kind: GameKind) -> Line:
    """Whether proposals can change a tunable. What its lever acts on must be logged too."""
    role, lever = tunable.role, lever_of(tunable.role)
    what = f"{tunable.name} ({role or 'no role'})"
    odd = [Lack("its effect", one.why) for one in kind.contradictions if one.name == tunable.name]
    if role is None:
        odd.append(Lack("its effect", "give it the role of a tunable (ingest/FORMAT.md, section 6)"))
    elif lever is None:
        odd.append(Lack("its effect", f"what a tunable with the role `{role}` does to the outcome is not known"))
    if len(tunable.holdable) < 2:
        odd.append(Lack("another value", "declare the range that the firmware can hold, MIN below MAX"))
    uses = [Use("what it acts on", event, fields) for event, fields in _acts_on(lever)] if lever else []
    lacks = [lack for use in uses for lack in logged.lacks(use)]
    return Line(tunable.name, what, Can.NO if odd else _can(lacks), (*odd, *lacks))


def _can(lacks: Sequence[Lack]) -> Can:
    """What is left of something that needs all that is missing."""
    if not lacks:
        return Can.YES
    return Can.NOT_YET if all(lack.declared for lack in lacks) else Can.NO


def _acts_on(lever: Lever) -> list[tuple[EventRole, tuple[FieldRole, ...]]]:
    """The events, with fields, that the effect of a lever is read from."""
    if isinstance(lever, EdgeLever):
        return [(EventRole.NOTE, ()), (EventRole.PRESS, ())]
    if isinstance(lever, DoseLever) and lever.success and not lever.deaths:
        return [(EventRole.TRIAL, (FieldRole.SUCCESS,))]
    return [(EventRole.RUN_START, ()), (EventRole.DEATH, ())]


def _named(event: str, fields: Sequence[str | None]) -> str:
    """An event with its fields, in words."""
    known = [field for field in fields if field]
    return f"an event with the role `{event}`" + (f" and {_fields(known)}" if known else "")


def _fields(fields: Sequence[str]) -> str:
    return f"{'a field with the role' if len(fields) == 1 else 'fields with the roles'} {_quoted(fields)}"


def _quoted(roles: Sequence[str], last: str = " and ") -> str:
    quoted = [f"`{role}`" for role in roles]
    return last.join([", ".join(quoted[:-1]), quoted[-1]] if len(quoted) > 1 else quoted)
