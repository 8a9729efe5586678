"""What a report is made of, before it is HTML or LaTeX: sections of paragraphs, figures and tables with labels.

Text that points at a figure, a table or a source holds a `Ref` or a `Cite`, so that each format points in its own way.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, ClassVar

from analysis.methods import Source


@dataclass(frozen=True)
class Ref:
    """Points at the figure or table of that label."""

    label: str


@dataclass(frozen=True)
class Cite:
    """Points at a source, by its key."""

    key: str


class Tone(StrEnum):
    """What a paragraph is: plain, the authors' own words, a gap for them to fill, a warning, or an aside."""

    PLAIN = ""
    OWN = "own"
    GAP = "gap"
    WARNING = "warning"
    ASIDE = "small"


Piece = str | Ref | Cite


@dataclass(frozen=True)
class Say:
    """A paragraph; `lead` stands in bold before it."""

    kind: ClassVar[str] = "say"
    pieces: tuple[Piece, ...]
    lead: str = ""
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True)
class Heading:
    """A heading inside a section."""

    kind: ClassVar[str] = "heading"
    text: str


@dataclass(frozen=True)
class Bullets:
    """A list without an order."""

    kind: ClassVar[str] = "bullets"
    items: tuple[str, ...]


@dataclass(frozen=True)
class Verbatim:
    """Lines as they were written, of a targets file for one."""

    kind: ClassVar[str] = "verbatim"
    text: str


@dataclass(frozen=True)
class Figure:
    """A picture by its file's name, with a caption that explains it. `alt`: for those who do not see it."""

    kind: ClassVar[str] = "figure"
    name: str
    caption: str
    alt: str
    label: str


@dataclass(frozen=True)
class Table:
    """Columns with a caption; at most `most` rows are shown."""

    kind: ClassVar[str] = "table"
    columns: Mapping[str, Any]
    caption: str
    label: str
    most: int = 200


@dataclass(frozen=True)
class Article:
    """Blocks that belong together; several in a row stand in two columns, unless `wide`."""

    kind: ClassVar[str] = "article"
    blocks: tuple["Block", ...]
    wide: bool = False


@dataclass(frozen=True)
class Sources:
    """The publications cited, numbered. `further`: those that only the appendix cites."""

    kind: ClassVar[str] = "sources"
    sources: tuple[Source, ...]
    further: bool = False


Block = Say | Heading | Bullets | Verbatim | Figure | Table | Article | Sources


@dataclass(frozen=True)
class Section:
    """A section. level: 2 for one of the report, 3 for one of a game in it. `apart`: begins the appendix.

    leads: stands before all others, without a number.
    """

    heading: str
    blocks: tuple[Block, ...]
    level: int = 2
    apart: bool = False
    leads: bool = False


def say(*pieces: Piece, lead: str = "", tone: Tone = Tone.PLAIN) -> Say:
    """A paragraph."""
    return Say(pieces, lead, tone)


def own(text: str, gap: str, lead: str = "") -> list[Say]:
    """What the authors wrote, a paragraph for each of theirs, or the gap that they have to fill."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if not lines:
        return [say(gap, lead=lead, tone=Tone.GAP)]
    return [say(line, lead="" if i else lead, tone=Tone.OWN) for i, line in enumerate(lines)]


def flat(blocks: Iterable[Block]) -> Iterator[Block]:
    """All blocks, also those inside articles."""
    for block in blocks:
        if isinstance(block, Article):
            yield from flat(block.blocks)
        else:
            yield block


def pictured(sections: Sequence[Section]) -> dict[str, str]:
    """The name of each figure -> what it is for those who do not see it."""
    blocks = (block for section in sections for block in flat(section.blocks))
    return {block.name: block.alt for block in blocks if isinstance(block, Figure)}


def numbered(sections: Sequence[Section]) -> dict[str, str]:
    """label -> "Figure 3", "Table 1", in the order of the report."""
    names: dict[str, str] = {}
    figures = tables = 0
    for block in (block for section in sections for block in flat(section.blocks)):
        if isinstance(block, Figure):
            figures += 1
            names[block.label] = f"Figure {figures}"
        if isinstance(block, Table):
            tables += 1
            names[block.label] = f"Table {tables}"
    return names
