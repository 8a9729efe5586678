"""How each number was made, in words for the report, with its sources: `methods.toml` and `sources.bib`, read here."""

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path

_HERE = Path(__file__).parent
# An entry stands alone between empty lines, after the line that cites it.
_ENTRY = re.compile(r"^% (.+)\n(@\w+\{(\w+),\n(?:.+\n)+?\})$", re.MULTILINE)


@dataclass(frozen=True)
class Source:
    """A publication: as pages and report cite it in `text`; `bibtex` is its whole entry."""

    key: str
    text: str
    bibtex: str


@dataclass(frozen=True)
class Method:
    """What a finding's `method` key stands for."""

    name: str
    text: str
    sources: tuple[Source, ...] = ()


def _read_sources() -> dict[str, Source]:
    found = _ENTRY.findall((_HERE / "sources.bib").read_text(encoding="utf-8"))
    return {key: Source(key, text, bibtex) for text, bibtex, key in found}


def _read_methods() -> dict[str, Method]:
    sources = _read_sources()
    entries = tomllib.loads((_HERE / "methods.toml").read_text(encoding="utf-8"))
    return {
        key: Method(
            entry["name"],
            entry["text"].replace("\n", " ").strip(),
            tuple(sources[source] for source in entry.get("sources", ())),
        )
        for key, entry in entries.items()
    }


METHODS = _read_methods()
