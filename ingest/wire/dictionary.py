"""The dictionary of a log: what the game calls its events, fields and tunables, and what they mean.

It travels as text (FORMAT.md, section 4; `dictionary_text.py` reads it) and is written by people as JSON (section 8,
`dictionary_json.py`).
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from ingest.vocabulary import EventRole, FieldRole, FieldType, TunableRole
from ingest.wire.checksum import crc16

MAX_TEXT_BYTES = 16_384
MAX_KINDS = 63
MAX_FIELDS = 16
MAX_TUNABLES = 255
SCOPES = ("stage", "stage_kind", "song", "level", "grade")
# Both move an event in time: a kind has at most one of them.
SHIFTS = frozenset({FieldRole.AGO, FieldRole.AHEAD})


class BadDictionary(ValueError):
    """The dictionary cannot be used at all; the message names the line and the remedy."""


@dataclass(frozen=True)
class Field:
    """One field of an event kind."""

    name: str
    type: FieldType
    role: FieldRole | None = None
    unit: str | None = None
    labels: Mapping[int, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Kind:
    """One event kind: its fields follow each other on the wire in this order.

    `passed_over`: bytes behind them that no field of ours reads. Not `readable`: the length of its events is not known.
    """

    name: str
    role: EventRole | None = None
    fields: tuple[Field, ...] = ()
    passed_over: int = 0
    readable: bool = True

    @property
    def width(self) -> int:
        """Bytes of an event on the wire, without its tag and step."""
        return sum(f.type.width for f in self.fields) + self.passed_over

    def field(self, role: FieldRole) -> Field | None:
        """The field that has this role, if the kind has one."""
        return next((f for f in self.fields if f.role == role), None)

    def none(self, field: Field) -> int | None:
        """The value by which `field` says that it does not apply; None where all of its values are numbers."""
        sample = self.role == EventRole.INPUT and field.role == FieldRole.VALUE
        number = sample or field.role in SHIFTS or field.type.none in field.labels
        return None if number else field.type.none


@dataclass(frozen=True)
class Tunable:
    """A named constant of the game, its range and step, and what part of the game it holds for.

    Without a range (all three None) no other value than its own is ever proposed for it.
    """

    name: str
    role: TunableRole | None
    low: int | None
    high: int | None
    step: int | None
    unit: str | None = None
    scope: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Dictionary:
    """All that a log says about itself.

    `refused`: what of its text could not be used, a sentence each, with the remedy.
    """

    game: str
    firmware: str
    clock_hz: int
    screen: tuple[int, int]
    kinds: tuple[Kind, ...]
    tunables: tuple[Tunable, ...] = ()
    refused: tuple[str, ...] = field(default=(), compare=False)

    def kind(self, name: str) -> Kind:
        """The kind of this name; raises KeyError."""
        for kind in self.kinds:
            if kind.name == name:
                return kind
        raise KeyError(name)

    @cached_property
    def event_roles(self) -> frozenset[EventRole]:
        """The event roles that some kind has."""
        return frozenset(kind.role for kind in self.kinds if kind.role is not None)

    @cached_property
    def field_roles(self) -> frozenset[FieldRole]:
        """The field roles that some field of some kind has."""
        return frozenset(f.role for kind in self.kinds for f in kind.fields if f.role is not None)

    @cached_property
    def text(self) -> bytes:
        """The dictionary as it travels; what was refused of it is not in it any more."""
        return "".join(line + "\n" for line in _lines(self)).encode()

    @cached_property
    def id(self) -> int:
        """The number that chunks and settings packets name this dictionary by."""
        return crc16(self.text)


def _lines(dictionary: Dictionary) -> Iterator[str]:
    yield "playlog 1"
    yield f"game {dictionary.game}"
    yield f"firmware {dictionary.firmware}"
    yield f"clock {dictionary.clock_hz}"
    yield f"screen {dictionary.screen[0]} {dictionary.screen[1]}"
    for kind in dictionary.kinds:
        yield f"kind {kind.name} {kind.role or '-'}"
        for f in kind.fields:
            yield f"field {f.type} {f.name} {f.role or '-'} {f.unit or '-'}"
            for value, label in f.labels.items():
                yield f"label {value} {label}"
        yield from ["field u8 - - -"] * kind.passed_over if kind.readable else ["field - - - -"]
    for t in dictionary.tunables:
        scope = "".join(f" {key}={value}" for key, value in t.scope.items())
        span = "- - -" if t.low is None else f"{t.low} {t.high} {t.step}"
        yield f"tunable {t.name} {t.role or '-'} {span} {t.unit or '-'}{scope}"
