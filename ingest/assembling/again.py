"""What a first reading of a log tells for a second one: dictionaries that came too late to be used."""

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

import duckdb

from ingest.assembling.lost_starts import Starts
from ingest.wire.checksum import crc16
from ingest.wire.dictionary import BadDictionary, Dictionary
from ingest.wire.dictionary_text import parse


@dataclass(frozen=True)
class Before:
    """What earlier readings of the same log have told: `dictionaries` to Session, as `known`, `starts` to Assembler."""

    dictionaries: Mapping[int, Dictionary] = field(default_factory=dict)
    starts: Starts | None = None


class ReadAgain(Exception):
    """The log must be read once more, now with `before`; what came of this reading is to be thrown away."""

    def __init__(self, before: Before):
        super().__init__("the log tells late what was needed early")
        self.before = before


def dictionaries_in(cursor: duckdb.DuckDBPyConnection, wanted: Collection[int]) -> dict[int, Dictionary]:
    """The dictionaries of a study that have these ids. Where two have one id, which one is meant is not known: none."""
    if not wanted:
        return {}
    texts = [row[0].encode() for row in cursor.execute("SELECT dictionary_text FROM dictionaries").fetchall()]
    ids = [crc16(text) for text in texts]
    often = Counter(ids)
    found = {}
    for id_, text in zip(ids, texts, strict=True):
        if id_ in wanted and often[id_] == 1:
            try:
                found[id_] = parse(text)
            except BadDictionary:
                continue
    return found
