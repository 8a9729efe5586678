"""The report as one HTML file that needs nothing else and prints well: its sections through the template."""

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby

from markupsafe import Markup

from dashboard.figures.palette import LIGHT
from dashboard.report.content import Content
from dashboard.report.document_blocks import Article, Block, Section, numbered
from dashboard.report.places_to_write import GAPS
from dashboard.report.summary import gap_left
from dashboard.web.html_tables import table
from dashboard.web.templating import render


def title_of(content: Content) -> str:
    """The title that the authors gave, or one made of the games."""
    names = ", ".join(game.selection.game for game in content.games)
    return content.about.title or f"Playtest report: {names}"


def document(
    content: Content, sections: Sequence[Section], pictures: Mapping[str, Markup], scripts: Markup | None = None
) -> str:
    """The HTML of `sections`. `pictures`: a figure's name -> its HTML; `scripts`: what they need."""
    return render(
        "report/whole.html",
        content=content,
        title=title_of(content),
        gap=GAPS["authors"],
        left=gap_left(content.about),
        light=LIGHT,
        scripts=scripts or Markup(""),
        sections=sections,
        numbers=_numbers(sections),
        pictures=pictures,
        names=numbered(sections),
        cites={source.key: i for i, source in enumerate(content.sources, 1)},
        table=table,
        rows=in_rows,
    )


def in_rows(blocks: Iterable[Block]) -> list[tuple[bool, list[Block]]]:
    """Blocks, and whether they stand in columns: articles beside each other do, unless they are wide."""
    return [
        (columns, list(some))
        for columns, some in groupby(blocks, key=lambda one: isinstance(one, Article) and not one.wide)
    ]


def _numbers(sections: Sequence[Section]) -> list[str]:
    """The number before each heading: "3", in the appendix "A"; of a section of one game none."""
    found: list[str] = []
    count, apart = 0, False
    for section in sections:
        if section.apart:
            count, apart = 0, True
        count += section.level == 2 and not section.leads
        found.append("" if section.level > 2 or section.leads else chr(ord("A") + count - 1) if apart else str(count))
    return found
