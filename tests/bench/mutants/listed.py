"""The list of faults, read from the .toml files beside this module."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]


@dataclass(frozen=True)
class Mutant:
    """One fault. path: the file; old, new: the text in it, and what stands there instead; wrong: what the product would
    then do; tests: the narrow ones that ought to notice."""

    name: str
    path: str
    old: str
    new: str
    wrong: str
    tests: tuple[str, ...]


def mutants() -> list[Mutant]:
    """All of them, in the order of the files."""
    found = []
    for listed in sorted(Path(__file__).parent.glob("*.toml")):
        for file in tomllib.loads(listed.read_text(encoding="utf-8"))["file"]:
            tests = tuple(file["tests"])
            found += [Mutant(path=file["path"], tests=tests, **mutant) for mutant in file["mutant"]]
    return found


def stale() -> list[str]:
    """What no longer applies to the code as it is, one line each."""
    said = []
    for m in mutants():
        path = ROOT / m.path
        times = path.read_text(encoding="utf-8").count(m.old) if path.exists() else 0
        if times != 1:
            said.append(f"{m.path}: the text of {m.name!r} is there {times} times, not once: {m.old!r}")
        missing = [test for test in m.tests if not (ROOT / test.partition("::")[0]).exists()]
        said += [f"{m.path}: {test}, which ought to notice, is not there" for test in missing]
    return said
