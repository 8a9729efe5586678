"""A dictionary as people write it: JSON (FORMAT.md, section 8)."""

from typing import Any

from ingest.wire.dictionary import BadDictionary, Dictionary
from ingest.wire.dictionary_text import parse
from ingest.wire.dictionary_words import I32


def from_json(data: Any) -> tuple[Dictionary, list[int]]:
    """The dictionary and the tunables' values from the JSON form of FORMAT.md, section 8; raises BadDictionary.

    It goes through the text form, so that the same rules hold for both; but here, where the author can mend it at once,
    nothing is left out.
    """
    if not isinstance(data, dict):
        raise BadDictionary("the dictionary must be a JSON object")
    _known(data, {"game", "firmware", "clock", "screen", "kinds", "tunables"}, "dictionary")
    try:
        width, height = data["screen"]
        lines = [
            "playlog 1",
            f"game {data['game']}",
            f"firmware {data['firmware']}",
            f"clock {data['clock']}",
            f"screen {width} {height}",
        ]
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
        raise BadDictionary(f"the dictionary has the wrong shape ({error}); see FORMAT.md, section 8") from None
    if any("\n" in line for line in lines):
        raise BadDictionary("a text of the dictionary holds a line end; remove it")
    made = parse("".join(line + "\n" for line in lines).encode())
    if made.refused:
        raise BadDictionary(made.refused[0])
    return made, values


def setting_value(name: str, value: Any) -> int:
    """The value of a tunable as it can travel; raises BadDictionary."""
    if isinstance(value, bool) or not isinstance(value, int) or not I32[0] <= value <= I32[1]:
        raise BadDictionary(f"the value of tunable {name!r} must be a 32-bit integer, not {str(value)[:40]}")
    return value


def _known(data: Any, allowed: set[str], what: str) -> None:
    if not isinstance(data, dict):
        raise BadDictionary(f"each {what} must be a JSON object, not {str(data)[:40]}")
    unknown = sorted(set(data) - allowed)
    if unknown:
        raise BadDictionary(f"unknown key {unknown[0]!r} in a {what}; allowed are {', '.join(sorted(allowed))}")
