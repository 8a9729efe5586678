"""Findings hold what they declare, and their documentation is made from it."""

import ast
from dataclasses import dataclass
from pathlib import Path

import pytest

from analysis.findings.basis import nothing
from analysis.findings.declared import Column, Declared, Undeclared
from analysis.findings.documented import declared, text
from analysis.methods import METHODS

ROOT = Path(__file__).resolve().parents[2]


@dataclass
class Size:
    players: int = 3
    runs: int = 5
    warnings: tuple[str, ...] = ("mind",)


PLAIN = Declared(
    "deaths.plain",
    "deaths",
    "Plain",
    "count",
    {"rows": (Column("x", "px", "where"), Column("n", "", "how many"), Column("y", "px", "where", optional=True))},
    (Column("most", "", "the most"),),
)


def test_a_finding_takes_rows_or_columns_in_the_declared_order():
    found = PLAIN.finding(Size(), "Said.", tables={"rows": {"n": [1, 2], "x": [8, 9]}}, facts={"most": 2})
    assert list(found.tables["rows"]) == ["x", "n"] and found.players == 3 and found.warnings == ("mind",)
    rows = PLAIN.finding(Size(), "Said.", tables={"rows": [{"x": 1, "n": 2, "y": 3}]}, facts={"most": 2}, runs=1)
    assert rows.tables["rows"]["y"].tolist() == [3] and rows.runs == 1
    nothing = PLAIN.finding(Size(), "Said.", tables={"rows": []})
    assert list(nothing.tables["rows"]) == ["x", "n", "y"] and not len(nothing.tables["rows"])


@pytest.mark.parametrize(
    ("tables", "facts", "says"),
    [
        ({"rows": {"x": [1]}}, {"most": 1}, "rows: n missing"),
        ({"rows": {"x": [1], "n": [1], "z": [1]}}, {"most": 1}, "rows: z not declared"),
        ({"other": {"x": [1]}}, {"most": 1}, "no table 'other'"),
        ({}, {"most": 1, "least": 0}, "facts: least not declared"),
        ({}, {"least": 0}, "facts: most missing"),
    ],
)
def test_what_differs_from_the_declaration_is_an_error(tables, facts, says):
    with pytest.raises(Undeclared, match=says):
        PLAIN.finding(Size(), "Said.", tables=tables, facts=facts)


def test_every_declaration_is_whole():
    for one in declared().values():
        assert one.id.partition(".")[0] and one.method in METHODS, one.id
        for columns in [*one.tables.values(), one.facts]:
            names = [column.name for column in columns]
            assert len(set(names)) == len(names) and all(column.meaning for column in columns), one.id


def test_the_documentation_is_written_from_the_declarations():
    written = (ROOT / "analysis/findings/FINDINGS.md").read_text(encoding="utf-8")
    assert written == text(), "write it anew: python -m analysis.findings > analysis/findings/FINDINGS.md"


# Who may make a finding without declaring it: the declaration itself, and `<question>.none`, which holds nothing.
_MAKERS = {"analysis/findings/declared.py", "analysis/findings/basis.py"}


def makers_of(source: str) -> list[int]:
    """The lines of a module that make a Finding by themselves."""
    calls = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Call)]
    names = [(call, getattr(call.func, "id", getattr(call.func, "attr", ""))) for call in calls]
    return [call.lineno for call, name in names if name == "Finding"]


def test_every_finding_is_made_by_its_declaration():
    paths = [path for top in ("analysis", "dashboard") for path in sorted((ROOT / top).rglob("*.py"))]
    found = {path.relative_to(ROOT).as_posix(): makers_of(path.read_text(encoding="utf-8")) for path in paths}
    assert {name for name, lines in found.items() if lines} == _MAKERS
    assert nothing("deaths", "Said.").id == "deaths.none" and not nothing("deaths", "Said.").tables


def test_a_planted_finding_without_a_declaration_is_found():
    assert makers_of("from analysis import finding\nx = finding.Finding('deaths.new')\n") == [2]
    assert makers_of("y = [Finding(id='deaths.new')]") == [1] and makers_of("z = NEW.finding(basis, '')") == []


def test_findings_of_one_declaration_are_told_apart_by_a_fact():
    several = Declared("deaths.each", "deaths", "Each", "count", facts=(Column("of", "", "whose"),), told_apart_by="of")
    one, other = (several.finding(Size(), "Said.", facts={"of": name}) for name in ("a b", "a_b"))
    assert one.id == other.id == "deaths.each" and one.key != other.key
    assert PLAIN.finding(Size(), "Said.").key == "deaths.plain"
