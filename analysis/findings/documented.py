"""The list of all findings with their tables, columns and facts, as Markdown."""

import importlib
import pkgutil
from collections.abc import Iterator
from itertools import pairwise

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
    shown: dict[tuple[Column, ...], str] = {}
    return "\n".join([_HEAD, *(part for one in declared().values() for part in _finding(one, shown))])


def _finding(one: Declared, shown: dict[tuple[Column, ...], str]) -> Iterator[str]:
    """shown: tables that stand further up, and under which finding."""
    yield f"## `{one.id}`: {one.title}\n"
    several = f" Several may be there, told apart by `{one.told_apart_by}`." if one.told_apart_by else ""
    yield f"Page: {one.question}. Method: `{one.method}`.{several}\n"
    named = [(f"table `{name}`", columns) for name, columns in one.tables.items()]
    for head, columns in [*named, *([("fact", one.facts)] if one.facts else [])]:
        if columns in shown:
            yield f"{head[:1].upper()}{head[1:]}{'s' if head == 'fact' else ''}: as of `{shown[columns]}`.\n"
        else:
            shown[columns] = one.id
            yield from _table(head, columns)


def _table(head: str, columns: tuple[Column, ...]) -> Iterator[str]:
    """Both limits of an interval stand in one row."""
    yield f"| {head} | unit | meaning |\n|---|---|---|"
    for column, after in pairwise([*columns, columns[-1]]):
        name, meaning = f"`{column.name}`", column.meaning
        if meaning.startswith("upper limit of"):
            continue
        if meaning.startswith("lower limit of"):
            name, meaning = f"{name}, `{after.name}`", meaning.replace("lower limit", "limits", 1)
        yield f"| {name} | {column.unit} | {meaning}{' (where known)' if column.optional else ''} |"
    yield ""
