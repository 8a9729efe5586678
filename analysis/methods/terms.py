"""The words of the pages that are not everyday ones, in plain sentences: `terms.toml`, read here."""

import tomllib
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Term:
    """One explanation. words: what stands on pages for it."""

    key: str
    name: str
    words: tuple[str, ...]
    text: str


def _read() -> dict[str, Term]:
    entries = tomllib.loads((Path(__file__).parent / "terms.toml").read_text(encoding="utf-8"))
    return {
        key: Term(key, entry["name"], tuple(entry["words"]), entry["text"].replace("\n", " ").strip())
        for key, entry in entries.items()
    }


TERMS = _read()
