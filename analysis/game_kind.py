"""What kind of game it is: the one place where that is decided, from what its logs hold.

Events that were seen weigh more than words. A role is a word that somebody wrote into the firmware, and a wrong one
must not turn one kind of game into another: where it contradicts what the logs hold, it is told and not followed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from analysis.levers import LEVERS, Part
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.words import counted
from ingest.vocabulary import EventRole, TunableRole

# Events that only such a game logs. `level`, `press`, `shot` and `hit` are found in all kinds of games.
EVENTS = {
    Part.STAGED: (EventRole.ENEMY_SHOT, EventRole.PICKUP),
    Part.BLOCKS: (EventRole.PIECE, EventRole.LANDED, EventRole.ROWS),
    Part.TRIALS: (EventRole.TRIAL,),
    Part.NOTES: (EventRole.NOTE, EventRole.VERDICT),
}
REMEDY = (
    "Roles are corrected with `setscrew roles` or on the page of imports; the logs stay as they are. Where the role is "
    "right, log the events that go with it."
)
_MOST_LOGS_NAMED = 10
# What such a tunable turns is not there in a game of another kind.
TUNABLES: dict[str, Part] = {lever.role: lever.part for lever in LEVERS.values() if lever.part is not None}
TUNABLES[TunableRole.NOTE_SPEED] = Part.NOTES


@dataclass(frozen=True)
class Held:
    """What the logs of some runs hold. Roles of events: declared, and seen at least once. tunables: name -> role.

    stages, levels: how many different ones there was time alive in; a boss counts as a stage of its own.
    """

    declared: frozenset[str]
    seen: frozenset[str]
    tunables: Mapping[str, str] = field(default_factory=dict)
    stages: int = 1
    levels: int = 0

    def count(self, part: Part) -> int:
        """How much of what the logs hold speaks for this part."""
        return len(self.seen & set(EVENTS[part])) + (part == Part.STAGED and self.stages > 1)

    def says(self, role: str) -> bool:
        """Whether a tunable has this role."""
        return role in self.tunables.values()


@dataclass(frozen=True)
class Contradiction:
    """A role that the logs speak against: of a `tunable` or of a `kind` of events (`what`), and why."""

    what: str
    name: str
    role: str
    why: str

    def __str__(self) -> str:
        return f"the {self.what} `{self.name}` has the role `{self.role}`, but {self.why}"


@dataclass(frozen=True)
class GameKind:
    """by_level: its runs go through levels (falling blocks), not through stages. parts: what may be asked of it."""

    by_level: bool
    parts: frozenset[Part]
    contradictions: tuple[Contradiction, ...] = ()


def read_kind(reader: Reader, selection: Selection) -> GameKind:
    """The kind of game that the runs of `selection` were played in."""
    (seen,), (stages,), (levels,) = reader.ask_chosen("game_held", selection).values()
    rows = reader.ask("tuning_tunables", game=selection.game)
    tunables = {
        str(name): str(role)
        for name, role in zip(rows["tunable"].tolist(), rows["role"].tolist(), strict=True)
        if name is not None and role is not None
    }
    declared = frozenset(str(role) for role in reader.ask_chosen("roles", selection)["role"])
    kinds = reader.ask("kinds_of_roles", game=selection.game)
    names = dict(zip(kinds["role"].tolist(), kinds["kind"].tolist(), strict=True))
    return kind_of(Held(declared, frozenset(map(str, seen)), tunables, int(stages), int(levels)), names)


def contradictions(reader: Reader) -> dict[str, tuple[Contradiction, ...]]:
    """Of each game of the study, the roles that its logs speak against; games without any are left out."""
    games = dict.fromkeys(str(game) for game in reader.ask("study_games")["game"])
    found = {game: read_kind(reader, Selection(game, include_team=True)).contradictions for game in games}
    return {game: odd for game, odd in found.items() if odd}


def kind_of(held: Held, kinds: Mapping[str, str] | None = None) -> GameKind:
    """What kind of game these logs are of. `kinds`: the game's own name for events of a role, to tell them by."""
    by_level = _by_level(held)
    events = _odd_events(held, by_level, kinds or {})
    parts = {part for part, roles in EVENTS.items() if (held.declared | held.seen) & set(roles)}
    parts -= {part for part, roles in EVENTS.items() if {one.role for one in events} & set(roles)}
    return GameKind(by_level, frozenset(parts), (*_odd_tunables(held, by_level), *events))


def _by_level(held: Held) -> bool:
    blocks, staged = held.count(Part.BLOCKS), held.count(Part.STAGED)
    if blocks != staged:
        # Blocks in stages without a level are played in those, unless the blocks' own tunable says how fast they fall.
        return blocks > staged and (held.levels > 0 or held.stages <= 1 or held.says(TunableRole.DROP_INTERVAL))
    # What was seen speaks for neither: only then do words decide.
    fires, falls = held.says(TunableRole.FIRE_PERIOD), held.says(TunableRole.DROP_INTERVAL)
    if held.stages > 1:
        return blocks > 0 and held.levels > 1 and falls and not fires
    if blocks or held.levels > 1:
        return falls or not fires
    return falls and not fires and EventRole.STAGE_START not in held.declared


def _odd_tunables(held: Held, by_level: bool) -> list[Contradiction]:
    """Tunables of a part that nothing in the logs speaks for, where something speaks for another."""
    found = []
    for name, role in held.tunables.items():
        part = TUNABLES.get(role)
        if part is None or held.count(part) or (part == Part.BLOCKS and by_level):
            continue
        if any(held.count(other) for other in Part):
            why = f"the logs hold {_told(held)}, and nothing of {part}: no event with the role {_named(EVENTS[part])}"
            found.append(Contradiction("tunable", name, role, why))
    return found


def _odd_events(held: Held, by_level: bool, kinds: Mapping[str, str]) -> list[Contradiction]:
    """A single role of falling blocks in a game that is played in stages, and shots of enemies among falling blocks."""
    part = Part.STAGED if by_level else Part.BLOCKS
    # Falling blocks may well have something to pick up.
    own = held.seen & set(EVENTS[part]) - {EventRole.PICKUP}
    if len(own) != 1 or not any(held.count(other) for other in Part if other != part):
        return []
    (role,) = own
    others = _named([r for r in EVENTS[part] if r != role and r != EventRole.PICKUP])
    lacks = f", and no event with the role {others}" if others else ""
    why = f"the logs hold {_told(held, without=role)}{lacks}"
    return [Contradiction("kind", kinds.get(role, role), role, why)]


def _told(held: Held, without: str = "") -> str:
    """What the logs hold that speaks for one part or another."""
    told = [f"events with the role `{r}`" for roles in EVENTS.values() for r in roles if r in held.seen - {without}]
    told += [f"{held.stages} stages"] * (held.stages > 1)
    return " and ".join([", ".join(told[:-1]), told[-1]] if len(told) > 1 else told)


def words_behind(logs: Sequence[str]) -> str:
    """That the runs of these logs are still those of the roles before a correction, and how that is mended."""
    named = ", ".join(logs[:_MOST_LOGS_NAMED]) + (" and others" if len(logs) > _MOST_LOGS_NAMED else "")
    return (
        f"The runs of {counted(len(logs), 'log')} ({named}) were built before a role was corrected: ingest "
        f"{'it' if len(logs) == 1 else 'them'} again."
    )


def _named(roles: Sequence[str]) -> str:
    return " or ".join(f"`{role}`" for role in roles)
