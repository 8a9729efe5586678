"""The text of a dictionary, read line by line: what is plain is understood, of the rest the smallest part is refused.

The text is untrusted: every limit of FORMAT.md, section 4, is checked here, once, and everything behind this door may
rely on it. Kinds, fields and tunables keep their places whatever is wrong with them, for the wire knows them by these.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from ingest.vocabulary import EventRole, FieldRole, FieldType, TunableRole
from ingest.wire.dictionary import (
    MAX_FIELDS,
    MAX_KINDS,
    MAX_TEXT_BYTES,
    MAX_TUNABLES,
    SCOPES,
    SHIFTS,
    BadDictionary,
    Dictionary,
    Field,
    Kind,
    Tunable,
)
from ingest.wire.dictionary_words import I32, Refused, integer, name_of, plain_name, role_of, text_of

# Refused parts that are told, each in a sentence; the others are counted.
MOST_TOLD = 50


def parse(text: bytes) -> Dictionary:
    """The dictionary in `text` as it travelled; its `refused` names each part that was left out, with the remedy.

    Raises BadDictionary where nothing can be read without what is wrong or missing.
    """
    if not 1 <= len(text) <= MAX_TEXT_BYTES:
        raise BadDictionary(f"the dictionary has {len(text)} bytes; 1 to {MAX_TEXT_BYTES} are allowed")
    lines = text.removesuffix(b"\n").split(b"\n")
    if lines[0] != b"playlog 1":
        raise BadDictionary(
            f"dictionary line 1 {lines[0][:60].decode('latin-1')!r}: the first line must be 'playlog 1'; "
            "a newer Setscrew may read it"
        )
    reading = _Reading()
    for number, line in enumerate(lines[1:], 2):
        reading.line(number, line)
    if not text.endswith(b"\n"):
        reading.refuse("its last line has no line end, and was read all the same; end every line with \\n")
    return reading.finish()


class _Reading:
    """Collects the lines of a dictionary; each is checked when it comes."""

    def __init__(self) -> None:
        self.head: dict[str, Any] = {}
        self.why: dict[str, str] = {}  # by the same words: why the last such line was refused
        self.kinds: list[Kind] = []
        self.kind_lines = self.field_lines = 0  # field_lines: of the last kind
        self.labelled: dict[int, str] | None = None  # labels of the last field; None: it keeps none
        self.tunables: list[Tunable] = []
        self.refused: list[str] = []
        self.untold = 0
        self.where = ""  # the line that is being read, for people

    def line(self, number: int, line: bytes) -> None:
        words, is_utf8 = _decoded(line)
        self.where = f"dictionary line {number} {words[:60]!r}: "
        if not is_utf8:
            self.refuse("it is not UTF-8, and was read as ISO 8859-1; save the source file as UTF-8")
        word, _, rest = words.partition(" ")
        take = _LINES.get(word)
        if take is None:
            self.refuse("no line begins with this word, so it is passed over; see FORMAT.md, section 4")
        else:
            take(self, rest)

    def refuse(self, words: str) -> None:
        if len(self.refused) < MOST_TOLD:
            self.refused.append(self.where + words)
        else:
            self.untold += 1

    def try_(self, what: str, make: Callable[..., Any], *of: Any) -> Any:
        """What `make` makes of these words, or None where it refuses them: `what` says what is left out then."""
        try:
            return make(*of)
        except Refused as refused:
            self.refuse(f"{what} is left out: {refused}")
            return None

    def text(self, what: str, words: str) -> str | None:
        made = self.try_(what, text_of, words)
        if made is not None and made != words:
            self.refuse(
                f"{what} has a control character or more than 80 characters, and was read as {made!r}; shorten it, or "
                "write it without"
            )
        return made

    def once(self, word: str, value: Any) -> None:
        if value is None:
            self.why[word] = self.refused[-1]
        elif word in self.head:
            self.refuse(f"'{word}' has come already, so this line is passed over; keep one")
        else:
            self.head[word] = value

    def title(self, word: str, rest: str) -> None:
        self.once(word, self.text("this line", rest))

    def clock(self, rest: str) -> None:
        self.once("clock", self.try_("this line", integer, rest, 100, 10_000_000))

    def screen(self, rest: str) -> None:
        self.once("screen", self.try_("this line", _screen, rest.split(" ")))

    def kind(self, rest: str) -> None:
        self.kind_lines += 1
        self.field_lines, self.labelled = 0, None
        if self.kind_lines > MAX_KINDS:
            self.refuse(f"more than {MAX_KINDS} kinds: this one is passed over; merge some")
            return
        words = self.words(rest, 2)
        taken = {kind.name for kind in self.kinds}
        name = self.name("kind", self.kind_lines, words[0], taken)
        self.kinds.append(Kind(name, self.try_("its role", role_of, EventRole, words[1])))

    def words(self, rest: str, count: int) -> list[str]:
        """The words of a line, or as many that say nothing."""
        words = rest.split(" ")
        if len(words) == count:
            return words
        self.refuse(f"{count} words should follow, and {len(words)} do: nothing but its place is kept")
        return ["", *["-"] * (count - 1)]

    def name(self, what: str, number: int, word: str, taken: set[str]) -> str:
        """The name in `word`; where it cannot be used, one by its place."""
        made = plain_name(what, number, taken)
        if not word:
            return made
        try:
            name = name_of(word)
            if name not in taken:
                return name
            why = f"there is a {what} {name!r} already; rename one"
        except Refused as refused:
            why = str(refused)
        self.refuse(f"its name is left out, and it is called {made!r}: {why}")
        return made

    def field(self, rest: str) -> None:
        self.labelled = None
        if not self.kind_lines:
            self.refuse("a field before the first kind is passed over; put it behind its kind")
            return
        self.field_lines += 1
        if self.kind_lines > MAX_KINDS:
            return
        kind = self.kinds[-1]
        word = rest.partition(" ")[0].lower()
        if word not in FieldType.__members__.values():
            self.refuse(
                f"kind {kind.name!r} cannot be read, nor any packet that holds one: unknown type {word[:40]!r}; use "
                f"one of {', '.join(FieldType)}"
            )
            self.kinds[-1] = Kind(kind.name, kind.role, readable=False)
        elif kind.readable and self.field_lines > MAX_FIELDS:
            self.refuse(f"more than {MAX_FIELDS} fields in one kind: this one is passed over; split the kind")
            self.kinds[-1] = replace(kind, passed_over=kind.passed_over + FieldType(word).width)
        elif kind.readable:
            self.kinds[-1] = replace(kind, fields=(*kind.fields, self.new_field(FieldType(word), rest)))

    def new_field(self, type_: FieldType, rest: str) -> Field:
        _, name, role, unit = self.words(rest, 4) if rest.count(" ") != 3 else rest.split(" ")
        fields = self.kinds[-1].fields
        made = self.try_("its role", role_of, FieldRole, role)
        roles = {f.role for f in fields}
        if made is not None and made in roles:
            self.refuse(f"its role is left out: another field of this kind has {role!r} already; only one may")
            made = None
        if made in SHIFTS and roles & SHIFTS:
            self.refuse("its role is left out: a kind may have 'ago' or 'ahead', not both; remove one")
            made = None
        self.labelled = {}
        name = self.name("field", self.field_lines, name, {f.name for f in fields})
        return Field(name, type_, made, self.unit(unit), self.labelled)

    def unit(self, word: str) -> str | None:
        return None if word == "-" else self.try_("its unit", name_of, word)

    def label(self, rest: str) -> None:
        if self.labelled is None:
            if not self.field_lines:  # of a field that was refused no more need be said
                self.refuse("this label is left out: there is no field for it; put it behind its field")
            return
        word, _, words = rest.partition(" ")
        value = self.try_("this label", integer, word, *self.kinds[-1].fields[-1].type.limits)
        if value is None:
            return
        if value in self.labelled:
            self.refuse(f"this label is left out: the value {value} has a label already; keep one")
            return
        label = self.text("this label", words)
        if label is not None:
            self.labelled[value] = label

    def tunable(self, rest: str) -> None:
        if len(self.tunables) == MAX_TUNABLES:
            self.refuse(f"more than {MAX_TUNABLES} tunables: this one is passed over; keep those you would change")
            return
        words = rest.split(" ")
        name, role, *numbers, unit = words[:6] if len(words) >= 6 else self.words(rest, 6)
        taken = {t.name for t in self.tunables}
        name = self.name("tunable", len(self.tunables) + 1, name, taken)
        made = self.try_("its role", role_of, TunableRole, role)
        scope = self.try_("its scope, and its role with it,", _scope, words[6:])
        twin = next((t for t in self.tunables if made is not None and (t.role, t.scope) == (made, scope)), None)
        if scope is None:
            # A value that holds in one place only must not be taken for one that holds everywhere.
            made, scope = None, {}
        elif twin is not None:
            self.refuse(
                f"its role is left out: tunable {twin.name!r} has {role!r} already, and holds for the same part of the "
                "game; keep one of them, or give them different scopes"
            )
            made = None
        low, high, step = self.range_(numbers) or (None, None, None)
        self.tunables.append(Tunable(name, made, low, high, step, self.unit(unit), scope))

    def range_(self, numbers: list[str]) -> tuple[int, int, int] | None:
        return None if numbers == ["-"] * 3 else self.try_("its range", _range, numbers)

    def finish(self) -> Dictionary:
        missing = [word for word in ("game", "firmware", "clock", "screen") if word not in self.head]
        if missing or not self.kinds:
            why = [self.why[word] for word in missing if word in self.why][:1]
            lacking = f"the dictionary lacks {', '.join(missing) or 'event kinds'}"
            raise BadDictionary(f"{lacking}: {why[0]}" if why else f"{lacking}; see FORMAT.md, section 4")
        told = [*self.refused, *([f"and {self.untold} more parts of the dictionary"] if self.untold else [])]
        return Dictionary(
            self.head["game"],
            self.head["firmware"],
            self.head["clock"],
            self.head["screen"],
            tuple(self.kinds),
            tuple(self.tunables),
            tuple(told),
        )


_LINES: dict[str, Callable[[_Reading, str], None]] = {
    "game": lambda reading, rest: reading.title("game", rest),
    "firmware": lambda reading, rest: reading.title("firmware", rest),
    "clock": _Reading.clock,
    "screen": _Reading.screen,
    "kind": _Reading.kind,
    "field": _Reading.field,
    "label": _Reading.label,
    "tunable": _Reading.tunable,
}


def _screen(words: list[str]) -> tuple[int, int]:
    if len(words) != 2:
        raise Refused("width and height must follow, and no more")
    width, height = (integer(word, 1, 4096) for word in words)
    return width, height


def _decoded(line: bytes) -> tuple[str, bool]:
    try:
        return line.decode("utf-8"), True
    except UnicodeDecodeError:
        return line.decode("latin-1"), False


def _scope(words: list[str]) -> dict[str, int]:
    scope: dict[str, int] = {}
    for word in words:
        key, _, value = word.partition("=")
        key = key.lower()
        if key not in SCOPES or key in scope:
            raise Refused(f"{word[:40]!r}; use each of {', '.join(SCOPES)} at most once, as stage=2")
        scope[key] = integer(value, *I32)
    return scope


def _range(numbers: list[str]) -> tuple[int, int, int]:
    low, high = (integer(number, *I32) for number in numbers[:2])
    step = integer(numbers[2], 1, I32[1])
    if low > high:
        raise Refused(f"its least value {low} is above its greatest {high}; swap them")
    return low, high, step
