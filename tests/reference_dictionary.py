"""A plain reader of the dictionary's text, written from FORMAT.md, section 4, alone.

It shares no code with the product. Roles and types come from FORMAT.md's own tables. What it returns is plain lists and
dicts, so that two readers can be compared.
"""

import re
from pathlib import Path
from typing import Any

_FORMAT = (Path(__file__).parent.parent / "ingest" / "FORMAT.md").read_text(encoding="utf-8")
SIZES = {"u8": 1, "i8": 1, "u16": 2, "i16": 2, "u32": 4, "i32": 4}
_SMALL = str.maketrans("ABCDEFGHIJKLMNOPQRSTUVWXYZ", "abcdefghijklmnopqrstuvwxyz")


def _roles(title: str) -> set[str]:
    part = _FORMAT[_FORMAT.index(f"### {title}\n") :]
    return set(re.findall(r"^\| `(\w+)` \|", part[: part.index("\n\n", part.index("|---"))], re.M))


EVENT_ROLES, FIELD_ROLES, TUNABLE_ROLES = (_roles(title) for title in ("Event roles", "Field roles", "Tunable roles"))


class WhollyRefused(Exception):
    """Nothing of the text can be read."""


def number(word: str, low: int, high: int) -> int | None:
    """What a number means, or None; parentheses are counted by hand, because patterns cannot."""
    sign, depth, signed = 1, 0, False
    while word and word[0] in "(-":
        if word[0] == "-":
            if signed:
                return None
            sign, signed = -1, True
        else:
            depth += 1
        word = word[1:]
    while depth and word.endswith(")"):
        depth, word = depth - 1, word[:-1]
    suffix = 0
    while suffix < 3 and word and word[-1] in "uUlL":
        word, suffix = word[:-1], suffix + 1
    if depth or not word:
        return None
    if word[:2] in ("0x", "0X"):
        digits = word[2:]
        if not 1 <= len(digits) <= 8 or any(c not in "0123456789abcdefABCDEF" for c in digits):
            return None
        value = int(digits, 16)
    else:
        if any(c not in "0123456789" for c in word):
            return None
        rest = word.lstrip("0")
        if rest != word and (len(rest) > 1 or rest in ("8", "9")):
            return None
        if len(word) > 10:
            return None
        value = int(rest or "0")
    return sign * value if low <= sign * value <= high else None


def i32(word: str) -> int | None:
    return number(word, -(2**31), 2**31 - 1)


def name(word: str) -> str | None:
    letters = word.translate(_SMALL)
    if not 1 <= len(letters) <= 32 or letters[0] not in "abcdefghijklmnopqrstuvwxyz":
        return None
    return letters if all(c in "abcdefghijklmnopqrstuvwxyz0123456789_" for c in letters) else None


def text(words: str) -> str | None:
    def control(c: str) -> bool:
        n = ord(c)
        return n <= 0x1F or 0x7F <= n <= 0x9F or n in (0x2028, 0x2029) or 0x202A <= n <= 0x202E or 0x2066 <= n <= 0x2069

    return "".join("\ufffd" if control(c) else c for c in words[:80]) or None


def role(word: str, known: set[str]) -> str | None:
    small = word.translate(_SMALL)
    return small if small in known else None


def called(word: str, what: str, place: int, earlier: list[str]) -> str:
    own = name(word)
    if own is None or own in earlier:
        own = f"{what}_{place}"
        while own in earlier:
            own += "_"
    return own


def read(data: bytes) -> dict[str, Any]:
    """The dictionary as lists and dicts: game, firmware, clock, screen, kinds, tunables."""
    lines = data.split(b"\n")
    if lines[-1] == b"":
        lines.pop()
    if not lines or lines[0] != b"playlog 1":
        raise WhollyRefused
    out: dict[str, Any] = {"kinds": [], "tunables": []}
    kinds = 0
    labels: dict[int, str] | None = None
    limits = (0, 0)
    for raw in lines[1:]:
        try:
            line = raw.decode("utf-8")
        except UnicodeDecodeError:
            line = raw.decode("iso-8859-1")
        words = line.split(" ")
        first, rest = words[0], line[len(words[0]) + 1 :]
        words = words[1:]
        value: Any
        if first in ("game", "firmware"):
            value = text(rest)
            if value is not None:
                out.setdefault(first, value)
        elif first == "clock":
            value = number(rest, 100, 10_000_000)
            if value is not None:
                out.setdefault("clock", value)
        elif first == "screen":
            value = [number(word, 1, 4096) for word in words]
            if len(value) == 2 and None not in value:
                out.setdefault("screen", value)
        elif first == "kind":
            kinds += 1
            labels = None
            if kinds <= 63:
                good = len(words) == 2
                own = called(words[0] if good else "", "kind", kinds, [k["name"] for k in out["kinds"]])
                out["kinds"].append(
                    {
                        "name": own,
                        "role": role(words[1], EVENT_ROLES) if good else None,
                        "fields": [],
                        "lines": 0,
                        "passed_over": 0,
                        "readable": True,
                    }
                )
        elif first == "field":
            labels = None
            if 1 <= kinds <= 63:
                labels = field(out["kinds"][-1], words)
                if labels is not None:
                    type_ = out["kinds"][-1]["fields"][-1]["type"]
                    bits = 8 * SIZES[type_]
                    limits = (0, 2**bits - 1) if type_[0] == "u" else (-(2 ** (bits - 1)), 2 ** (bits - 1) - 1)
        elif first == "label":
            if labels is not None:
                of, label = number(words[0], *limits) if words else None, text(" ".join(words[1:]))
                if of is not None and of not in labels and label is not None:
                    labels[of] = label
        elif first == "tunable" and len(out["tunables"]) < 255:
            out["tunables"].append(tunable(words, out["tunables"]))
    if not out["kinds"] or any(word not in out for word in ("game", "firmware", "clock", "screen")):
        raise WhollyRefused
    for kind in out["kinds"]:
        del kind["lines"]
    return out


def field(kind: dict[str, Any], words: list[str]) -> dict[int, str] | None:
    """Takes one field line; returns where its labels go, or None."""
    kind["lines"] += 1
    type_ = words[0].translate(_SMALL) if words else ""
    if type_ not in SIZES:
        kind.update(readable=False, fields=[], passed_over=0)
        return None
    if not kind["readable"]:
        return None
    if kind["lines"] > 16:
        kind["passed_over"] += SIZES[type_]
        return None
    if len(words) != 4:
        words = ["", "", "-", "-"]
    own = role(words[2], FIELD_ROLES)
    roles = [f["role"] for f in kind["fields"]]
    if own in roles or (own == "ago" and "ahead" in roles) or (own == "ahead" and "ago" in roles):
        own = None
    made = {
        "type": type_,
        "name": called(words[1], "field", kind["lines"], [f["name"] for f in kind["fields"]]),
        "role": own,
        "unit": None if words[3] == "-" else name(words[3]),
        "labels": {},
    }
    kind["fields"].append(made)
    return made["labels"]


def tunable(words: list[str], earlier: list[dict[str, Any]]) -> dict[str, Any]:
    if len(words) < 6:
        words = ["", "-", "-", "-", "-", "-"]
    low, high, step = (i32(word) for word in words[2:5])
    fits = low is not None and high is not None and step is not None and step >= 1 and low <= high
    scope: dict[str, int | None] | None = {}
    for word in words[6:]:
        key, equals, value = word.partition("=")
        key = key.translate(_SMALL)
        if scope is None or key not in ("stage", "stage_kind", "song", "level", "grade") or key in scope:
            scope = None
            break
        scope[key] = i32(value) if equals else None
    if scope is not None and None in scope.values():
        scope = None
    own = None if scope is None else role(words[1], TUNABLE_ROLES)
    if any(t["role"] == own and t["scope"] == scope for t in earlier):
        own = None
    return {
        "name": called(words[0], "tunable", len(earlier) + 1, [t["name"] for t in earlier]),
        "role": own,
        "range": [low, high, step] if fits else None,
        "unit": None if words[5] == "-" else name(words[5]),
        "scope": scope or {},
    }
