"""Imports run one way: dashboard -> analysis -> ingest. Pure parts stay pure, and SQL stays in its files."""

import ast
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
LAYERS = ("ingest", "analysis", "dashboard", "demo_logs")
PURE = {"numpy", "scipy"}
VOCABULARY = "ingest.vocabulary"
# The public face opens a study, and keeps in it what it is asked to; all else in analysis is handed an open one.
FACE = ("analysis.study", "analysis.study_decisions", "analysis.study_tables", "analysis.held")
OF_A_STUDY = ("ingest.study.study_errors", "ingest.study.wanted", "ingest.said.notes")
# The pure rooms of the analysis, and whose modules each may import besides PURE and the vocabulary.
ROOMS = {
    "analysis.stats": ("analysis.stats",),
    "analysis.levers": ("analysis.levers", "analysis.words"),
    "analysis.models": ("analysis.models", "analysis.levers", "analysis.stats", "analysis.words"),
    "analysis.tuning": ("analysis.tuning", "analysis.models", "analysis.levers", "analysis.stats", "analysis.words"),
}


def allowed(module: str, imported: str) -> bool:
    """Whether `module` may import `imported`; both dotted, from the checkout's top."""
    top = imported.partition(".")[0]
    for room, below in ROOMS.items():
        if within(module, room):
            return top in PURE | sys.stdlib_module_names or within(imported, VOCABULARY, *below)
    if within(module, "ingest"):
        return top not in {"analysis", "dashboard", "demo_logs", "tests"}
    if within(module, "analysis.tuning_answers") and within(imported, "analysis.findings"):
        return False  # a proposal needs none, and its command starts sooner without them
    if module in FACE and within(imported, *OF_A_STUDY):
        return True
    if within(module, "analysis"):
        return top not in {"dashboard", "demo_logs", "tests", "ingest"} or within(
            imported, VOCABULARY, "ingest.study.capture_counts", "ingest.said.build_order"
        )
    if within(module, "demo_logs.simulator"):
        return top not in {"analysis", "dashboard", "tests"}
    if within(module, "demo_logs"):
        return top in sys.stdlib_module_names or within(imported, "demo_logs")
    return top != "tests"


def within(module: str, *packages: str) -> bool:
    return any(module == package or module.startswith(package + ".") for package in packages)


def imports(source: str, module: str, is_package: bool) -> Iterator[str]:
    """The full name of everything `source` imports, wherever in it, relative ones and names of modules too."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parts = module.split(".")
                parts = parts[: len(parts) - node.level + is_package]
                base = ".".join([*parts, base] if base else parts)
            # `from analysis import tuning` names a module as well as `import analysis.tuning` does.
            is_folder = (ROOT / base.replace(".", "/")).is_dir()
            yield from (f"{base}.{name.name}" for name in node.names) if is_folder else [base]


def upward(source: str, module: str, is_package: bool = False) -> list[str]:
    return [name for name in imports(source, module, is_package) if not allowed(module, name)]


def modules() -> Iterator[tuple[Path, str, bool]]:
    for layer in LAYERS:
        for path in sorted((ROOT / layer).rglob("*.py")):
            parts = list(path.relative_to(ROOT).with_suffix("").parts)
            is_package = parts[-1] == "__init__"
            yield path, ".".join(parts[:-1] if is_package else parts), is_package


def test_no_module_imports_upward():
    found = {
        module: wrong
        for path, module, is_package in modules()
        if (wrong := upward(path.read_text(encoding="utf-8"), module, is_package))
    }
    assert found == {}


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("ingest.study.store", "import analysis.reader"),
        ("ingest.study.store", "def f():\n    from dashboard.command_line import exits"),
        ("ingest.study.store", "from ...analysis import reader"),
        ("analysis.reader", "from dashboard.cli import main"),
        ("analysis.reader", "from ingest.study import store"),
        ("analysis.reader", "from ingest.study.store import open_study"),
        ("analysis.reader", "from ingest.study.wanted import open_when_free"),
        ("analysis.study", "from ingest.capture.captures import Captures"),
        ("analysis.findings.deaths", "from ...ingest.study.store import open_study"),
        ("analysis.stats.lifetimes.survival", "import duckdb"),
        ("analysis.stats.lifetimes.survival", "from analysis.reader import Reader"),
        ("analysis.stats.lifetimes.survival", "from ... import finding"),
        ("analysis.tuning.fit", "from analysis.finding import Finding"),
        ("analysis.tuning.fit", "import plotly"),
        ("analysis.models.fit", "from analysis.reader import Reader"),
        ("analysis.tuning_answers.loading", "from analysis.findings.basis import Basis"),
        ("analysis.models.fit", "from ingest.study.store import open_study"),
        ("demo_logs.simulator.people", "from analysis.stats.lifetimes import survival"),
        ("demo_logs.bootstrap", "import numpy"),
        ("dashboard.web.app", "import tests.reference"),
    ],
)
def test_a_planted_upward_import_is_found(module, source):
    assert upward(source, module)


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("dashboard.web.app", "from analysis.findings import find\nfrom ingest.capture.captures import Captures"),
        ("analysis.findings.deaths", "from ingest.vocabulary import EventRole\nfrom analysis.stats import rates"),
        ("analysis.findings.trust", "from ingest.study.capture_counts import CaptureCounts"),
        ("analysis.held", "from ingest.study.wanted import open_when_free"),
        ("analysis.stats.fit", "from ingest.vocabulary import TunableRole"),
        ("analysis.tuning.fit", "from ingest.vocabulary import TunableRole\nfrom analysis.models import data"),
        ("analysis.tuning.fit", "import numpy as np\nfrom scipy import stats\nfrom analysis.stats import rates"),
        ("demo_logs.simulator.people", "from ingest.wire.encoder import Encoder\nimport numpy"),
    ],
)
def test_an_import_downward_is_let_through(module, source):
    assert upward(source, module) == []


_SELECT = re.compile(r"\bselect\b.+\bfrom\b", re.IGNORECASE | re.DOTALL)


def sql_texts(source: str) -> list[str]:
    """String constants of `source` (f-strings put together) that are SQL questions; docstrings are prose."""
    tree = ast.parse(source)
    prose = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef))
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    texts = [
        "".join(part.value for part in node.values if isinstance(part, ast.Constant) and isinstance(part.value, str))
        for node in ast.walk(tree)
        if isinstance(node, ast.JoinedStr)
    ]
    texts += [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in prose
    ]
    return [text for text in texts if re.match(r"\s*(select|with)\b", text, re.IGNORECASE) and _SELECT.search(text)]


def test_questions_to_the_study_stand_in_sql_files_only():
    found = {
        module: texts
        for path, module, _ in modules()
        if not within(module, "ingest") and (texts := sql_texts(path.read_text(encoding="utf-8")))
    }
    assert found == {}


@pytest.mark.parametrize(
    "source",
    ['x = "SELECT a FROM runs"', 'x = f"select {a} from {b}"', 'x = """\nWITH r AS (SELECT 1)\nSELECT * FROM r"""'],
)
def test_a_planted_question_is_found(source):
    assert sql_texts(source)


def test_the_bootstrap_runs_on_a_bare_python():
    """What starts before anything is installed imports the standard library only, down to the tests' own start."""
    for name in (
        "demo_logs/__init__.py",
        "demo_logs/__main__.py",
        "demo_logs/bootstrap.py",
        "tests/__init__.py",
        "tests/__main__.py",
    ):
        source = (ROOT / name).read_text(encoding="utf-8")
        tops = {imported.partition(".")[0] for imported in imports(source, "x", False)}
        assert tops <= set(sys.stdlib_module_names) | {"demo_logs"}, name
