"""The dictionary of a log: what the game calls its events, fields and tunables, and what they mean.

It travels as text (FORMAT.md, section 4) and is written by people as JSON (section 8). Both are untrusted: every
limit is checked here, once, and everything behind this door may rely on it.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from ingest.checksum import crc16
from ingest.vocabulary import EventRole, FieldRole, FieldType, TunableRole

MAX_TEXT_BYTES = 16_384
MAX_KINDS = 63
MAX_FIELDS = 16
MAX_TUNABLES = 255
SCOPES = ("stage", "stage_kind", "song", "level", "grade")
NAME = re.compile(r"[a-z][a-z0-9_]{0,31}")
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")
_I32 = (-(1 << 31), (1 << 31) - 1)


class BadDictionary(ValueError):
    """The dictionary breaks FORMAT.md; the message names the line and the remedy."""


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
    """One event kind: its fields follow each other on the wire in this order."""

    name: str
    role: EventRole | None = None
    fields: tuple[Field, ...] = ()

    @property
    def width(self) -> int:
        """Bytes of all fields together."""
        return sum(f.type.width for f in self.fields)

    def field(self, role: FieldRole) -> Field | None:
        """The field that has this role, if the kind has one."""
        return next((f for f in self.fields if f.role == role), None)

    def none(self, field: Field) -> int | None:
        """The value by which `field` says that it does not apply; None where all of its values are numbers."""
        sample = self.role == EventRole.INPUT and field.role == FieldRole.VALUE
        number = sample or field.role in _SHIFTS or field.type.none in field.labels
        return None if number else field.type.none


@dataclass(frozen=True)
class Tunable:
    """A named constant of the game, its range and step, and what part of the game it holds for."""

    name: str
    role: TunableRole | None
    low: int
    high: int
    step: int
    unit: str | None = None
    scope: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Dictionary:
    """All that a log says about itself."""

    game: str
    firmware: str
    clock_hz: int
    screen: tuple[int, int]
    kinds: tuple[Kind, ...]
    tunables: tuple[Tunable, ...] = ()

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

    @property
    def text(self) -> bytes:
        """The dictionary as it travels."""
        return "".join(line + "\n" for line in _lines(self)).encode()

    @property
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
    for t in dictionary.tunables:
        scope = "".join(f" {key}={value}" for key, value in t.scope.items())
        yield f"tunable {t.name} {t.role or '-'} {t.low} {t.high} {t.step} {t.unit or '-'}{scope}"


def parse(text: bytes) -> Dictionary:
    """The dictionary in `text` as it travelled; raises BadDictionary naming the line."""
    if not 1 <= len(text) <= MAX_TEXT_BYTES:
        raise BadDictionary(f"the dictionary has {len(text)} bytes; 1 to {MAX_TEXT_BYTES} are allowed")
    try:
        lines = text.decode("utf-8").split("\n")
    except UnicodeDecodeError as error:
        raise BadDictionary(
            f"byte {error.start} of the dictionary is not UTF-8; write its texts in UTF-8"
        ) from None
    if lines[-1] != "":
        raise BadDictionary("the last line of the dictionary has no line end; end every line with \\n")
    builder = _Builder()
    for number, line in enumerate(lines[:-1], 1):
        try:
            builder.take(number, line)
        except BadDictionary as error:
            raise BadDictionary(f"dictionary line {number} {line[:60]!r}: {error}") from None
    return builder.finish()


class _Builder:
    """Collects the lines of a dictionary; each line is checked when it comes."""

    def __init__(self) -> None:
        self.head: dict[str, Any] = {}
        self.kinds: list[Kind] = []
        self.fields: list[Field] = []
        self.labels: dict[int, str] | None = None
        self.tunables: list[Tunable] = []

    def take(self, number: int, line: str) -> None:
        word, _, rest = line.partition(" ")
        if number == 1:
            if line != "playlog 1":
                raise BadDictionary("the first line must be 'playlog 1'")
            return
        match word:
            case "game" | "firmware":
                self._once(word, _text(rest))
            case "clock":
                self._once(word, _integer(rest, 100, 10_000_000))
            case "screen":
                width, height = _words(rest, 2)
                self._once(word, (_integer(width, 1, 4096), _integer(height, 1, 4096)))
            case "kind":
                self._kind(*_words(rest, 2))
            case "field":
                self._field(*_words(rest, 4))
            case "label":
                value, _, label = rest.partition(" ")
                self._label(value, label)
            case "tunable":
                self._tunable(rest.split(" "))
            case _:
                raise BadDictionary("unknown line; see FORMAT.md, section 4")

    def _once(self, word: str, value: Any) -> None:
        if word in self.head:
            raise BadDictionary(f"'{word}' comes twice; keep one")
        self.head[word] = value

    def _kind(self, name: str, role: str) -> None:
        if any(kind.name == name for kind in self.kinds):
            raise BadDictionary(f"there is a kind {name!r} already; rename one")
        if len(self.kinds) == MAX_KINDS:
            raise BadDictionary(f"more than {MAX_KINDS} kinds; merge some")
        self.kinds.append(Kind(_name(name), _role(EventRole, role)))
        self.fields, self.labels = [], None

    def _field(self, type_: str, name: str, role: str, unit: str) -> None:
        if not self.kinds:
            raise BadDictionary("a field before the first kind; put it behind its kind")
        if type_ not in FieldType.__members__.values():
            raise BadDictionary(f"unknown type {type_[:40]!r}; use one of {', '.join(FieldType)}")
        if len(self.fields) == MAX_FIELDS:
            raise BadDictionary(f"more than {MAX_FIELDS} fields in one kind; split the kind")
        made = _role(FieldRole, role)
        self.labels = {}
        new = Field(_name(name), FieldType(type_), made, _unit(unit), self.labels)
        if any(f.name == new.name for f in self.fields):
            raise BadDictionary(f"there is a field {name!r} already in this kind; rename one")
        roles = {f.role for f in self.fields}
        if made is not None and made in roles:
            raise BadDictionary(f"another field of this kind has the role {role!r} already; only one may")
        if made in _SHIFTS and roles & _SHIFTS:
            raise BadDictionary("a kind may have 'ago' or 'ahead', not both; remove one")
        self.fields.append(new)
        kind = self.kinds[-1]
        self.kinds[-1] = Kind(kind.name, kind.role, tuple(self.fields))

    def _label(self, value: str, label: str) -> None:
        if self.labels is None:
            raise BadDictionary("a label before the first field; put it behind its field")
        number = _integer(value, *self.fields[-1].type.limits)
        if number in self.labels:
            raise BadDictionary(f"the value {number} has a label already; keep one")
        self.labels[number] = _text(label)

    def _tunable(self, words: list[str]) -> None:
        if len(words) < 6:
            raise BadDictionary("a tunable needs name, role, least, greatest, step and unit")
        if len(self.tunables) == MAX_TUNABLES:
            raise BadDictionary(f"more than {MAX_TUNABLES} tunables; keep those you would change")
        name, role, low, high, step, unit, *scopes = words
        if any(t.name == name for t in self.tunables):
            raise BadDictionary(f"there is a tunable {name[:40]!r} already; rename one")
        scope: dict[str, int] = {}
        for word in scopes:
            key, _, value = word.partition("=")
            if key not in SCOPES or key in scope:
                raise BadDictionary(
                    f"scope {word[:40]!r}: use each of {', '.join(SCOPES)} at most once, as stage=2"
                )
            scope[key] = _integer(value, *_I32)
        made = Tunable(
            _name(name), _role(TunableRole, role), _integer(low, *_I32), _integer(high, *_I32),
            _integer(step, 1, _I32[1]), _unit(unit), scope,
        )  # fmt: skip
        if made.low > made.high:
            raise BadDictionary(f"its least value {low} is above its greatest {high}; swap them")
        self.tunables.append(made)

    def finish(self) -> Dictionary:
        missing = [word for word in ("game", "firmware", "clock", "screen") if word not in self.head]
        if missing or not self.kinds:
            raise BadDictionary(
                f"the dictionary lacks {', '.join(missing) or 'event kinds'}; see FORMAT.md, section 4"
            )
        return Dictionary(
            self.head["game"], self.head["firmware"], self.head["clock"], self.head["screen"],
            tuple(self.kinds), tuple(self.tunables),
        )  # fmt: skip


_SHIFTS = {FieldRole.AGO, FieldRole.AHEAD}


def _words(rest: str, count: int) -> list[str]:
    words = rest.split(" ")
    if len(words) != count:
        raise BadDictionary(f"{count} words must follow, separated by one space; there are {len(words)}")
    return words


def _name(word: str) -> str:
    if not NAME.fullmatch(word):
        raise BadDictionary(
            f"{word[:40]!r} is no name: a lower-case letter, then lower-case letters, digits or _, at most 32"
        )
    return word


def _unit(word: str) -> str | None:
    return None if word == "-" else _name(word)


def _text(text: str) -> str:
    if not 1 <= len(text) <= 80 or _CONTROL.search(text):
        raise BadDictionary("a text has 1 to 80 characters and no control character")
    return text


def _integer(word: str, low: int, high: int) -> int:
    if not re.fullmatch(r"-?[0-9]{1,10}", word, re.ASCII) or not low <= int(word) <= high:
        raise BadDictionary(f"{word[:40]!r} should be an integer from {low} to {high}")
    return int(word)


def _role(roles: Any, word: str) -> Any:
    if word == "-":
        return None
    if word not in roles.__members__.values():
        raise BadDictionary(f"unknown role {word[:40]!r}; FORMAT.md, section 6 lists them; '-' is none")
    return roles(word)


def from_json(data: Any) -> tuple[Dictionary, list[int]]:
    """The dictionary and the tunables' values from the JSON form of FORMAT.md, section 8; raises BadDictionary.

    It goes through the text form, so that exactly the same rules hold for both.
    """
    if not isinstance(data, dict):
        raise BadDictionary("the dictionary must be a JSON object")
    _known(data, {"game", "firmware", "clock", "screen", "kinds", "tunables"}, "dictionary")
    try:
        width, height = data["screen"]
        lines = [
            "playlog 1", f"game {data['game']}", f"firmware {data['firmware']}", f"clock {data['clock']}",
            f"screen {width} {height}",
        ]  # fmt: skip
        for kind in data["kinds"]:
            _known(kind, {"name", "role", "fields"}, "kind")
            lines.append(f"kind {kind['name']} {kind.get('role') or '-'}")
            for f in kind.get("fields", []):
                _known(f, {"name", "type", "role", "unit", "labels"}, "field")
                lines.append(f"field {f['type']} {f['name']} {f.get('role') or '-'} {f.get('unit') or '-'}")
                lines += [f"label {value} {label}" for value, label in f.get("labels", {}).items()]
        values: list[int] = []
        for t in data.get("tunables", []):
            _known(t, {"name", "role", "value", "min", "max", "step", "unit", "scope"}, "tunable")
            value = t["value"]
            scope = "".join(f" {key}={number}" for key, number in t.get("scope", {}).items())
            lines.append(
                f"tunable {t['name']} {t.get('role') or '-'} {t.get('min', value)} {t.get('max', value)}"
                f" {t.get('step', 1)} {t.get('unit') or '-'}{scope}"
            )
            values.append(setting_value(t["name"], value))
    except KeyError as error:
        raise BadDictionary(f"the dictionary lacks {error}; see FORMAT.md, section 8") from None
    except (TypeError, ValueError, AttributeError) as error:
        if isinstance(error, BadDictionary):
            raise
        raise BadDictionary(
            f"the dictionary has the wrong shape ({error}); see FORMAT.md, section 8"
        ) from None
    if any("\n" in line for line in lines):
        raise BadDictionary("a text of the dictionary holds a line end; remove it")
    return parse("".join(line + "\n" for line in lines).encode()), values


def setting_value(name: str, value: Any) -> int:
    """The value of a tunable as it can travel; raises BadDictionary."""
    if isinstance(value, bool) or not isinstance(value, int) or not _I32[0] <= value <= _I32[1]:
        raise BadDictionary(f"the value of tunable {name!r} must be a 32-bit integer, not {str(value)[:40]}")
    return value


def _known(data: Any, allowed: set[str], what: str) -> None:
    if not isinstance(data, dict):
        raise BadDictionary(f"each {what} must be a JSON object, not {str(data)[:40]}")
    unknown = sorted(set(data) - allowed)
    if unknown:
        raise BadDictionary(
            f"unknown key {unknown[0]!r} in a {what}; allowed are {', '.join(sorted(allowed))}"
        )
