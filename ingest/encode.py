"""`python -m ingest.encode EVENTS.jsonl OUT.playlog`: writes a play log from JSON Lines (FORMAT.md, section 8)."""

import json
import os
import sys
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from ingest.wire.dictionary import BadDictionary
from ingest.wire.dictionary_json import from_json, setting_value
from ingest.wire.encoder import Encoder, NotWritable

_HALF = "a text holds half of a character (\\\\ud800 to \\\\udfff); write the whole one"
# Least and greatest value of each tunable, by its name; None where the dictionary does not say.
_Ranges = Mapping[str, tuple[int | None, int | None]]


class BadLine(ValueError):
    """A line of the input is wrong; the message names it and the remedy."""


def encode_lines(lines: Iterable[str]) -> Iterator[bytes]:
    """The bytes of the play log that `lines` describe, piece by piece; raises BadLine."""
    encoder: Encoder | None = None
    ranges: _Ranges = {}
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            data = _object(line)
            if encoder is None:
                if "dictionary" not in data:
                    raise BadLine('the first line must be {"dictionary": {...}}')
                dictionary, values = from_json(data["dictionary"])
                # As written: without them, the range in the log is the value that the tunable begins with.
                written = {t["name"]: t for t in data["dictionary"].get("tunables", [])}
                ranges = {
                    t.name: (t.low if "min" in written[t.name] else None, t.high if "max" in written[t.name] else None)
                    for t in dictionary.tunables
                }
                _in_range(ranges, dict(zip(ranges, values, strict=True)))
                encoder = Encoder(dictionary, values)
                yield encoder.power_up()
            else:
                yield _take(encoder, data, ranges)
        except RecursionError:
            raise BadLine(f"line {number}: nested too deeply") from None
        except UnicodeEncodeError:
            raise BadLine(f"line {number}: {_HALF}") from None
        except (json.JSONDecodeError, BadLine, BadDictionary, NotWritable) as error:
            raise BadLine(f"line {number}: {error}") from None
    if encoder is None:
        raise BadLine('line 1: the file is empty; its first line must be {"dictionary": {...}}')
    yield encoder.flush()


def _object(line: str) -> dict[str, Any]:
    try:
        line.encode()
    except UnicodeEncodeError:
        raise BadLine("it holds a byte that is no UTF-8; save the file as UTF-8") from None
    try:
        data = json.loads(line)
    except json.JSONDecodeError:
        raise
    except ValueError:
        raise BadLine("it holds a number of thousands of digits; no field holds more than 32 bits") from None
    if not isinstance(data, dict):
        raise BadLine("each line must be one JSON object")
    return data


def _take(encoder: Encoder, data: dict[str, Any], ranges: _Ranges) -> bytes:
    match data:
        case {"t": t, "kind": str(kind), **fields}:
            values = {name: None if value is None else _whole(name, value) for name, value in fields.items()}
            return encoder.event(_whole("t", t), kind, values)
        case {"settings": dict(changes), **rest} if not rest:
            changed = {name: setting_value(name, value) for name, value in changes.items()}
            _in_range(ranges, changed)
            return encoder.settings(changed)
        case {"power_up": nonce, **rest} if not rest:
            return encoder.reset(None if nonce is None else _whole("power_up", nonce, 0, 65535))
        case {"drop": events, **rest} if not rest:
            return encoder.drop(_whole("drop", events, 1, 65535))
    raise BadLine("this is no event (with 't' and 'kind'), nor 'settings', 'power_up' or 'drop'")


def _whole(name: str, value: Any, low: int | None = None, high: int | None = None) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise BadLine(f"{name!r} must be a whole number, not {str(value)[:40]}")
    if low is not None and high is not None and not low <= value <= high:
        raise BadLine(f"{name!r} must be a whole number from {low} to {high}, not {str(value)[:40]}")
    return value


def _in_range(ranges: _Ranges, values: Mapping[str, int]) -> None:
    """Raises BadLine for a value that the dictionary rules out; names that it lacks are the encoder's to refuse."""
    for name, value in values.items():
        low, high = ranges.get(name, (None, None))
        if low is not None and value < low:
            raise BadLine(f"the value {value} of tunable {name!r} is below its 'min', {low}; change one of them")
        if high is not None and value > high:
            raise BadLine(f"the value {value} of tunable {name!r} is above its 'max', {high}; change one of them")


def main(arguments: list[str]) -> int:
    """Writes the log beside its final name first, so that a wrong input leaves nothing behind."""
    if len(arguments) != 2:
        print("usage: python -m ingest.encode EVENTS.jsonl OUT.playlog", file=sys.stderr)
        return 2
    source, target = Path(arguments[0]), Path(arguments[1])
    if target.is_dir():
        print(f"{target}: this is a folder; name the file to write", file=sys.stderr)
        return 2
    part = target.with_name(target.name + ".part")
    try:
        # A byte that is no UTF-8 is told with its line.
        with source.open(encoding="utf-8-sig", errors="surrogateescape") as lines, part.open("wb") as out:
            out.writelines(encode_lines(lines))
        os.replace(part, target)
    except (OSError, BadLine) as error:
        part.unlink(missing_ok=True)
        print(f"{source}: {error}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
