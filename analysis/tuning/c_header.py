"""Back to the console: accepted values as a C header, and what differs from the last one."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analysis.models.data import Tunable

MARK = "/* Written by Setscrew."
PREFIX = "TUNED_"
_DEFINE = re.compile(r"^#define\s+([A-Za-z_][A-Za-z0-9_]*)\s+\(?(-?\d+)\)?\s*(?:/\*.*)?$", re.M)


class NotHoldable(ValueError):
    """A value that the firmware cannot hold, or a tunable it does not have; the message says what it can."""


@dataclass(frozen=True)
class Difference:
    """One name of the header: None where it was or is not defined."""

    name: str
    before: int | None
    after: int | None


def checked(tunables: Sequence[Tunable], setting: Mapping[str, int]) -> dict[str, int]:
    """All of the build's values with `setting` in place. Raises NotHoldable."""
    known = {t.name: t for t in tunables}
    for name, value in setting.items():
        if name not in known:
            raise NotHoldable(f"the build has no tunable {name!r}; it has {', '.join(known) or 'none'}")
        t = known[name]
        if value != t.value and value not in t.holdable:
            raise NotHoldable(f"{name} = {value}: the firmware holds {t.low} to {t.high} in steps of {t.step}")
    return {t.name: int(setting.get(t.name, t.value)) for t in tunables}


def header_text(
    tunables: Sequence[Tunable],
    setting: Mapping[str, int],
    game: str,
    build: str,
    fingerprint: str,
    written: str,
    why: str,
    guard: str,
    prefix: str = PREFIX,
) -> str:
    """The header: every tunable of the build, with unit, range, and what it was. Raises NotHoldable.

    written: date; why: one line on where the values come from; guard: name of the include guard.
    """
    values = checked(tunables, setting)
    lines = [
        f"{MARK} Do not edit: change the targets or the proposal and write it again.",
        f" * Game: {_plain(game)}",
        f" * Values were changed from build: {_plain(build)}",
        f" * Data fingerprint: {_plain(fingerprint)}",
        f" * Written: {_plain(written)}",
        f" * Why: {_plain(why)}",
        " * Flash it, play, and ingest: the next log names the new build by itself.",
        " */",
        f"#ifndef {guard}",
        f"#define {guard}",
        "",
    ]
    for t in tunables:
        unit = "" if t.unit in ("", "-", "none") else f" {_plain(t.unit)}"
        was = f"; was {t.value}" if values[t.name] != t.value else ""
        note = f"{t.low} to {t.high} in steps of {t.step}{unit}{was}"
        lines.append(f"#define {macro(t.name, prefix)} {_number(values[t.name])} /* {note} */")
    return "\n".join([*lines, "", "#endif", ""])


def macro(name: str, prefix: str = PREFIX) -> str:
    """The macro of a tunable's name."""
    return prefix + name.upper()


def read_values(text: str) -> dict[str, int]:
    """The integer macros that a header defines."""
    return {name: int(value) for name, value in _DEFINE.findall(text)}


def differences(before: str, after: str) -> list[Difference]:
    """What `after` defines otherwise than `before`, in the order of `after`, then what it no longer defines."""
    old, new = read_values(before), read_values(after)
    changed = [Difference(name, old.get(name), value) for name, value in new.items() if old.get(name) != value]
    return changed + [Difference(name, value, None) for name, value in old.items() if name not in new]


def _number(value: int) -> str:
    return f"({value})" if value < 0 else str(value)


def _plain(text: str) -> str:
    """Texts from a log must end no comment, continue no line and form no trigraph."""
    words = "".join(c if c.isascii() and c.isprintable() and c not in "\\?" else "_" for c in text)
    return words.replace("*/", "* /").replace("/*", "/ *")[:200]
