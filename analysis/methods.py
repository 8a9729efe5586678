"""How each number was made, in words for the report, with its sources."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Source:
    """A publication; `bibtex` is its whole entry."""

    key: str
    text: str
    bibtex: str


@dataclass(frozen=True)
class Method:
    """What a finding's `method` key stands for."""

    name: str
    text: str
    sources: tuple[Source, ...] = ()


METHODS: dict[str, Method] = {}
