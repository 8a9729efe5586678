"""What an entry of the methods consists of."""

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


def article(key: str, authors: str, year: int, title: str, journal: str, where: str) -> Source:
    """A journal article; `where` is "volume:pages" or "volume(number):pages"; authors are joined by "and"."""
    volume, pages = where.split(":")
    number = volume.partition("(")[2].rstrip(")")
    volume = volume.partition("(")[0]
    names = [name.partition(",")[0] for name in authors.split(" and ")]
    short = names[0] if len(names) == 1 else f"{names[0]} et al." if len(names) > 2 else " & ".join(names)
    numbered = f", number={{{number}}}" if number else ""
    return Source(
        key,
        f"{short} {year}, {title}, {journal} {where}",
        f"@article{{{key}, author={{{authors}}}, title={{{title}}}, journal={{{journal}}}, volume={{{volume}}}"
        f"{numbered}, pages={{{pages.replace('-', '--')}}}, year={{{year}}}}}",
    )
