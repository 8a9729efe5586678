"""The list of all findings with their tables, columns and facts, as Markdown."""

import importlib
import pkgutil
from collections.abc import Iterable, Iterator

import analysis.findings
from analysis.findings.declared import Column, Declared

_HEAD = """# Findings

Every finding with the tables and facts it holds: what `setscrew findings --json` prints, what CSV files and frames in a
notebook hold. Written by `python -m analysis.findings` from the declarations beside the code; do not edit.
"""


def declared() -> dict[str, Declared]:
    """Every declaration of the modules of `analysis.findings`, by id."""
    found: dict[str, Declared] = {}
    for module in pkgutil.walk_packages(analysis.findings.__path__, "analysis.findings."):
        if module.name.endswith("__main__"):
            continue
        for value in vars(importlib.import_module(module.name)).values():
            some = value.values() if isinstance(value, dict) else [value]
            found |= {one.id: one for one in some if isinstance(one, Declared)}
    return dict(sorted(found.items()))


def text() -> str:
    """The whole of FINDINGS.md."""
    return "\n".join([_HEAD, *(part for one in declared().values() for part in _finding(one))])


def _finding(one: Declared) -> Iterator[str]:
    yield f"## `{one.id}`: {one.title}\n"
    several = f" Several may be there, told apart by `{one.told_apart_by}`." if one.told_apart_by else ""
    yield f"Page: {one.question}. Method: `{one.method}`.{several}\n"
    for name, columns in one.tables.items():
        yield from _table(f"table `{name}`", columns)
    if one.facts:
        yield from _table("fact", one.facts)


def _table(head: str, columns: Iterable[Column]) -> Iterator[str]:
    yield f"| {head} | unit | meaning |\n|---|---|---|"
    for column in columns:
        optional = " (where known)" if column.optional else ""
        yield f"| `{column.name}` | {column.unit} | {column.meaning}{optional} |"
    yield ""
