"""The dictionaries of one log: put together from their pieces, read, and bounded (FORMAT.md, section 4)."""

import numpy as np

from ingest.study.capture_counts import Notice
from ingest.study.notices import MOST_NOTICES, refused_parts
from ingest.wire.checksum import crc16
from ingest.wire.dictionary import BadDictionary, Dictionary
from ingest.wire.dictionary_text import parse

MAX_DICTIONARIES = 64
# Each has a table of its own in the study, which takes memory however few its events are.
MAX_KINDS_OF_A_LOG = 500


class LogDictionaries:
    """read: those that came complete, by their ids; None where one was refused. refusal: why one was, or None.

    text: that of the first of which a part was refused, or else of the first.
    """

    def __init__(self) -> None:
        self.read: dict[int | None, Dictionary | None] = {}
        self.refusal: str | None = None
        self.notices: list[Notice] = []
        self.text: bytes | None = None
        self._kinds: set[tuple[object, ...]] = set()  # those that differ, of all dictionaries
        self._building: tuple[int, int] | None = None  # id and length of the text that is being put together
        self._text = bytearray()
        self._there = np.zeros(0, bool)

    @property
    def came(self) -> tuple[int, int]:
        """Of the one that is being put together, the bytes that are there, and all of its bytes; 0 of 0: none is."""
        return (int(self._there.sum()), self._building[1]) if self._building else (0, 0)

    def take(self, body: bytes, offset: int) -> None:
        """A packet of a dictionary, at `offset` of the log."""
        id_, total, at = (int.from_bytes(body[i : i + 2], "little") for i in (0, 2, 4))
        if id_ in self.read:
            return
        if self._building != (id_, total):
            self._building = (id_, total)
            self._text = bytearray(total)
            self._there = np.zeros(total, bool)
        chunk = body[6:]
        self._text[at : at + len(chunk)] = chunk
        self._there[at : at + len(chunk)] = True
        if not self._there.all():
            return
        self._building = None
        text = bytes(self._text)
        if crc16(text) != id_:
            return
        untroubled = self.refusal is None and not self.notices
        self.text = text if self.text is None else self.text
        self.read[id_] = None
        if len(self.read) > MAX_DICTIONARIES:
            self.refusal = f"more than {MAX_DICTIONARIES} dictionaries in one log; cut the log into its sessions"
            return
        try:
            dictionary = parse(text)
        except BadDictionary as error:
            self.refusal = str(error)
            dictionary = None
        if dictionary is not None:
            self._kinds |= {
                (dictionary.game, kind.name, kind.role, *((f.name, f.type, f.role, f.unit) for f in kind.fields))
                for kind in dictionary.kinds
            }
            if len(self._kinds) > MAX_KINDS_OF_A_LOG:
                self.refusal = f"more than {MAX_KINDS_OF_A_LOG} kinds in one log; cut the log into its sessions"
                dictionary = None
        self.read[id_] = dictionary
        if untroubled and (dictionary is None or dictionary.refused):
            self.text = text
        if dictionary is not None:
            self.notices = (self.notices + refused_parts(offset, dictionary.refused))[:MOST_NOTICES]
