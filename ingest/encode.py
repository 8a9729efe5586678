"""`python -m ingest.encode EVENTS.jsonl OUT.playlog`: writes a play log from JSON Lines (FORMAT.md, section 8)."""

import json
import os
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from ingest.dictionary import BadDictionary
from ingest.dictionary_json import from_json, setting_value
from ingest.encoder import Encoder, NotWritable


class BadLine(ValueError):
    """A line of the input is wrong; the message names it and the remedy."""


def encode_lines(lines: Iterable[str]) -> Iterator[bytes]:
    """The bytes of the play log that `lines` describe, piece by piece; raises BadLine."""
    encoder: Encoder | None = None
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            data = json.loads(line)
            if not isinstance(data, dict):
                raise BadLine("each line must be one JSON object")
            if encoder is None:
                if "dictionary" not in data:
                    raise BadLine('the first line must be {"dictionary": {...}}')
                encoder = Encoder(*from_json(data["dictionary"]))
                yield encoder.power_up()
            else:
                yield _take(encoder, data)
        except RecursionError:
            raise BadLine(f"line {number}: nested too deeply") from None
        except (json.JSONDecodeError, BadLine, BadDictionary, NotWritable) as error:
            raise BadLine(f"line {number}: {error}") from None
    if encoder is None:
        raise BadLine('line 1: the file is empty; its first line must be {"dictionary": {...}}')
    yield encoder.flush()


def _take(encoder: Encoder, data: dict[str, Any]) -> bytes:
    match data:
        case {"t": t, "kind": str(kind), **fields}:
            values = {name: None if value is None else _whole(name, value) for name, value in fields.items()}
            return encoder.event(_whole("t", t), kind, values)
        case {"settings": dict(changes), **rest} if not rest:
            return encoder.settings({name: setting_value(name, value) for name, value in changes.items()})
        case {"power_up": nonce, **rest} if not rest:
            return encoder.reset(None if nonce is None else _whole("power_up", nonce))
        case {"drop": events, **rest} if not rest:
            return encoder.drop(_whole("drop", events))
    raise BadLine("this is no event (with 't' and 'kind'), nor 'settings', 'power_up' or 'drop'")


def _whole(name: str, value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise BadLine(f"{name!r} must be a whole number, not {str(value)[:40]}")
    return value


def main(arguments: list[str]) -> int:
    """Writes the log beside its final name first, so that a wrong input leaves nothing behind."""
    if len(arguments) != 2:
        print("usage: python -m ingest.encode EVENTS.jsonl OUT.playlog", file=sys.stderr)
        return 2
    source, target = Path(arguments[0]), Path(arguments[1])
    part = target.with_name(target.name + ".part")
    try:
        with source.open(encoding="utf-8") as lines, part.open("wb") as out:
            out.writelines(encode_lines(lines))
        os.replace(part, target)
    except (OSError, UnicodeDecodeError, BadLine) as error:
        part.unlink(missing_ok=True)
        print(f"{source}: {error}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
