"""The example notebook runs, by the public face alone, and every example of its page is true."""

import ast
import doctest
import json
from pathlib import Path
from typing import Any

import analysis

ROOT = Path(analysis.__file__).parent
NOTEBOOK = json.loads((ROOT / "example.ipynb").read_text(encoding="utf-8"))
CODE = ["".join(cell["source"]) for cell in NOTEBOOK["cells"] if cell["cell_type"] == "code"]


def run_cell(source: str, names: dict[str, Any]) -> Any:
    """Runs a cell as a notebook does; returns the value of its last expression, which a notebook shows."""
    tree = ast.parse(source)
    last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
    exec(compile(tree, "cell", "exec"), names)
    return None if last is None else eval(compile(ast.Expression(last.value), "cell", "eval"), names)


def test_the_notebook_runs_from_top_to_end(beside_demo, capsys):
    names: dict[str, Any] = {}
    shown = [run_cell(source, names) for source in CODE]
    for value in shown:
        assert value is None or value._repr_html_()  # what a notebook shows of it
    assert len(names["runs"]) == 89 and names["deaths"]["x"].notna().all()
    lines = names["figure"].data
    assert len(lines) == 1 + names["counted"]["player"].nunique() and lines[-1].name == "median"
    assert sum(len(line.x) for line in lines[:-1]) == len(names["counted"])
    assert names["proposed"].game == "Soot Wardens" and names["proposed"].answer.proposals
    assert len(names["plan"].frame) == 12
    assert capsys.readouterr().out.count("Soot Wardens") >= 1


def test_a_cell_that_fails_is_found():
    try:
        run_cell("x = 1\nx.nothing", {})
    except AttributeError:
        return
    raise AssertionError("the runner hides errors")


def test_the_notebook_is_small_and_uses_the_public_face_alone():
    assert all(cell.get("outputs", []) == [] for cell in NOTEBOOK["cells"])
    assert all(cell.get("execution_count") is None for cell in NOTEBOOK["cells"])
    imported = {
        name
        for source in CODE
        for node in ast.walk(ast.parse(source))
        if isinstance(node, (ast.Import, ast.ImportFrom))
        for name in ([node.module] if isinstance(node, ast.ImportFrom) else [one.name for one in node.names])
    }
    assert imported == {"analysis", "pathlib", "plotly.graph_objects"}
    assert set(NOTEBOOK) == {"cells", "metadata", "nbformat", "nbformat_minor"} and NOTEBOOK["nbformat"] == 4


def test_the_examples_of_the_page_run(beside_demo):
    ran = doctest.testfile(
        str(ROOT / "NOTEBOOK.md"),
        module_relative=False,
        optionflags=doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS,
        encoding="utf-8",
    )
    assert ran.failed == 0
    text = (ROOT / "NOTEBOOK.md").read_text(encoding="utf-8")
    asked = ("games", "runs", "lives", "events", "sql", "findings", "propose", "plan", "compare")
    assert all(f">>> study.{name}(" in text or f"= study.{name}(" in text for name in asked)
    assert ran.attempted >= 25
